//! What a run of `report` writes, looked at as its readers would.

mod demo;
mod findings;
mod hostile;
mod publishing;
mod quotes;
mod unattended;
mod work_sheets;
