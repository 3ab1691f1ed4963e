//! The tables' contract: their first columns, and the order of their rows.

use crate::support::Table;

/// The columns each table begins with.
const COLUMNS: [(&str, &str); 22] = [
    ("run_hours", "site,at,month,speed,hours,basis,metered_fraction,energy_kwh,energy_cost"),
    ("hours_forecast", "site,at,month,speed,hours,low,high"),
    (
        "water_turnover",
        "site,at,month,flow_l_min,flow_low,flow_high,head_m,basis,turnover_min,limit_min,turnovers_per_day,hours_per_day,\
         filter_rate_l_min_m2,filter_limit_l_min_m2,velocity_m_s,velocity_limit_m_s,verdict,failing",
    ),
    (
        "filters",
        "site,at,pressure_bar,clean_pressure_bar,rise_bar_per_day,clean_by,clean_by_low,clean_by_high,\
         turnover_at_clean_by_min",
    ),
    ("water_tests", "site,at,date,time,by,quantity,value,low_limit,high_limit,verdict,action"),
    (
        "parts",
        "site,at,part,count,fitted,age_days,age_hours,interval_source,due,due_low,due_high,due_basis,life_used,\
         fail_12mo,cost",
    ),
    (
        "part_lives",
        "part,group,clock,in_service,failures,method,shape,shape_low,shape_high,scale,scale_low,scale_high,b10,b10_low,\
         b10_high,best_age,best_age_low,best_age_high,best_age_saving,status",
    ),
    (
        "pump_failures",
        "scope,id,clock,failures,exposure,rate_per_1000,growth,growth_low,growth_high,p_worsening,verdict,expected_12mo,\
         expected_low,expected_high",
    ),
    (
        "measured_trends",
        "site,at,quantity,readings,slope_per_30d,slope_low,slope_high,p_value,limit,crosses,crosses_low,crosses_high",
    ),
    ("failures", "site,at,date,what,hours_since_records,source"),
    ("readings", "site,at,date,quantity,value,source"),
    (
        "ways_out",
        "site,at,rank,way,enough,over,model,from,to,unit,flow_l_min,turnover_min,turnover_low,turnover_high,\
         filter_rate_l_min_m2,velocity_m_s,cost",
    ),
    ("mean_failures", "scope,id,since,hours,pumps,failures,mean,low,high"),
    ("occupied_nights", "site,at,from,to,nights"),
    ("visits", "visit,site,date,technician,at,task,because,due,minutes,take,cost"),
    ("carry", "month,part,number,fits,planned,expected_failures,stock_to_hold,on_order_by"),
    (
        "costs",
        "site,year,scope,labour,parts,travel,failures_expected,total_mean,total_p50,total_p80,total_p95,price,tax",
    ),
    ("contracts", "customer,site,year,price,planned,spent,failures,result"),
    ("forecast_check", "made_on,horizon_months,scope,id,what,expected,low,high,observed,inside"),
    ("sums", "scope,id,what,value"),
    ("failure_costs", "what,failures,cost_each,cost,share,share_summed"),
    ("to_do", "urgency,site,at,reason,says,due,source"),
];

/// The columns rows are sorted by, in tables whose rows stand at an address.
const SORTED_BY: [(&str, &[&str]); 11] = [
    ("run_hours", &["site", "at", "month"]),
    ("hours_forecast", &["site", "at", "month"]),
    ("water_turnover", &["site", "at", "month"]),
    ("filters", &["site", "at"]),
    ("ways_out", &["site", "at", "rank"]),
    ("water_tests", &["site", "at", "date"]),
    ("parts", &["site", "at"]),
    ("measured_trends", &["site", "at"]),
    ("failures", &["site", "at", "date"]),
    ("readings", &["site", "at", "date"]),
    ("occupied_nights", &["site", "at", "from"]),
];

/// Asserts that a table keeps the contract and is not empty.
#[track_caller]
pub fn assert_kept(table: &Table) {
    let name = table.name.as_str();
    let columns = COLUMNS.iter().find(|(known, _)| *known == name).map(|(_, columns)| *columns);
    let columns: Vec<&str> =
        columns.unwrap_or_else(|| panic!("{name}.csv is not in the contract")).split(',').collect();
    assert_eq!(table.header.iter().take(columns.len()).collect::<Vec<_>>(), columns, "columns of {name}.csv");
    assert!(!table.rows.is_empty(), "{name}.csv is empty");
    let Some((_, by)) = SORTED_BY.iter().find(|(known, _)| *known == name) else { return };
    // An address sorts id by id, so that a spa comes right before what stands in it.
    let keys: Vec<Vec<Vec<&str>>> =
        table.rows.iter().map(|row| by.iter().map(|column| row.get(column).split('/').collect()).collect()).collect();
    assert!(keys.is_sorted(), "{name}.csv is not sorted by {by:?}");
}
