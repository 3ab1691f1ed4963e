//! What is said of faulty records, and what is not said of sound ones.

mod bounds;
mod first_evening;
mod left_out;
mod mechanical;
mod messages;
mod schemas;
