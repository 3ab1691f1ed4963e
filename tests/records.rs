//! What is said of faulty records, and what is not said of sound ones.

mod bounds;
mod mechanical;
mod messages;
