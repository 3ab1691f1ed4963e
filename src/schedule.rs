//! Stage 3: what falls due and when, each with its reason.

pub mod carry;
pub mod due;
pub mod due_by_month;
pub mod visits;
