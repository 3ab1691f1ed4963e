//! What a run of `report` writes, looked at as its readers would.

mod accepted_plan;
mod demo;
mod extremes;
mod findings;
mod fleet_report;
mod hostile;
mod look;
mod own_templates;
mod page;
mod pages;
mod publishing;
mod quotes;
mod same_numbers;
mod samples;
mod unattended;
mod views;
mod work_sheets;
mod workbook;
