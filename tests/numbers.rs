//! Figures held against arithmetic done by hand.

mod cases;
pub mod contract;
