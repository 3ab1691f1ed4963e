//! How a spa's water stands against its limits, in the same words on page one, in the section on the water, in the log
//! book and among what is to be done.
//!
//! It exists because the verdict `meets` comes from turnover time and filtration hours alone: where the filter rate or the
//! velocity is over its limit beside it, no page may say so little as "meets". It must not judge.

use crate::basis::Basis;
use crate::quantities::water_turnover::{Verdict, WaterMonth, hours_allowed};
use crate::records::fleet::Units;
use crate::report::format;
use crate::report::view::Mark;

/// What is said where no flow was measured.
pub const STANDS: &str = "no water passed the filter when its flow was measured";

/// A limit of turnover time, in minutes, with no more digits than it has.
pub fn limit_minutes(limit: f64) -> String {
    let text = format::number(limit, 2);
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

/// How a flow is known, in a word or two.
pub fn known_by(basis: Basis) -> &'static str {
    match basis {
        Basis::Measured => "measured",
        Basis::Curve => "calculated",
        Basis::Stated => "by the maker's stated flow",
        _ => "by the last measurement",
    }
}

/// A value and the limit it is over, with so many digits that they do not print alike.
fn apart(value: f64, limit: f64, shown: impl Fn(f64) -> String, finer: impl Fn(f64) -> f64) -> (String, String) {
    const MOST_DECIMALS: usize = 6;
    let (mut value_says, mut limit_says) = (shown(value), shown(limit));
    for decimals in 2..=MOST_DECIMALS {
        if value_says != limit_says {
            break;
        }
        (value_says, limit_says) = (format::number(finer(value), decimals), format::number(finer(limit), decimals));
    }
    (value_says, limit_says)
}

/// What is over its limit beside the turnover: its name, and "0.66 of at most 0.30 gpm/ft²".
pub fn over(row: &WaterMonth, units: Units) -> Vec<(&'static str, String)> {
    let mut all = Vec::new();
    if let (true, Some(rate), Some(limit)) = (row.failing.contains(&"filter rate"), row.filter_rate, row.filter_limit) {
        let finer = |rate: f64| match units {
            Units::Metric => rate,
            Units::Us => rate / format::GPM_PER_SQUARE_FOOT,
        };
        let (value, limit) = apart(rate, limit, |rate| format::filter_rate_number(rate, units), finer);
        all.push(("filter rate", format!("{value} of at most {limit} {}", format::filter_rate_unit(units))));
    }
    if let (true, Some(speed), Some(limit)) = (row.failing.contains(&"velocity"), row.velocity, row.velocity_limit) {
        let finer = |speed: f64| if units == Units::Us { speed / format::METRES_PER_FOOT } else { speed };
        let (value, limit) = apart(speed, limit, |speed| format::velocity_number(speed, units), finer);
        all.push(("velocity", format!("{value} of at most {limit} {} in the pipe", format::velocity_unit(units))));
    }
    all
}

/// The same as the end of a sentence: "over its filter rate: 0.66 of at most 0.30 gpm/ft²". Empty where nothing is.
pub fn over_words(row: &WaterMonth, units: Units) -> String {
    let each: Vec<String> =
        over(row, units).iter().map(|(name, figures)| format!("over its {name}: {figures}")).collect();
    each.join("; ")
}

/// How the water stands, behind "Water turnover:".
pub fn verdict(row: Option<&WaterMonth>, units: Units) -> String {
    let Some(row) = row else { return format::NOT_KNOWN.to_owned() };
    let over = over_words(row, units);
    let turnover = match row.verdict {
        Verdict::Meets if over.is_empty() => "meets its limits".to_owned(),
        Verdict::Meets => "meets its limit".to_owned(),
        Verdict::Short => format!("short of its limits ({})", short_by(row).join("; ")),
        Verdict::Closed => "closed".to_owned(),
        Verdict::Unknown => format::NOT_KNOWN.to_owned(),
    };
    if over.is_empty() { turnover } else { format!("{turnover}; {over}") }
}

/// What of turnover and filtration is short, with its figures.
fn short_by(row: &WaterMonth) -> Vec<String> {
    let mut all = Vec::new();
    if row.stands() {
        all.push(STANDS.to_owned());
    }
    if let (true, Some(turnover), Some(limit)) = (row.failing.contains(&"turnover"), &row.turnover, row.limit_min) {
        let (value, limit) = apart(turnover.value, limit, |minutes| format::number(minutes, 1), |minutes| minutes);
        // 12.4 keeps its digit; what was told apart by more digits keeps those.
        let limit = limit.trim_end_matches(".0");
        all.push(format!("{value} of at most {limit} min"));
    }
    if let (true, Some(hours), Some(limit)) =
        (row.failing.contains(&"filtration hours"), row.hours_in_use, row.hours_limit)
    {
        all.push(format!("filtered {hours:.1} of at least {} h a day", format::number(limit, 0)));
    }
    all
}

/// Act now where it is short; something to plan where only filter rate or velocity is over its limit.
pub fn mark(row: &WaterMonth) -> Mark {
    match row.verdict {
        Verdict::Short => Mark::ActNow,
        _ if row.failing.is_empty() => Mark::None,
        _ => Mark::Plan,
    }
}

/// Filter rate and velocity against their limits, where they are known.
pub fn rate_and_velocity(row: &WaterMonth, units: Units) -> Vec<String> {
    let line = |what: &str, value: String, unit: &str, limit: Option<String>, name: &str| {
        let against = match limit {
            Some(limit) => {
                format!("the limit is {limit}: {}", if row.failing.contains(&name) { "over" } else { "it meets" })
            }
            None => "no limit is known".to_owned(),
        };
        format!("{what} {value} {unit}; {against}.")
    };
    let rate_number = |rate: f64| format::filter_rate_number(rate, units);
    let rate = row.filter_rate.map(|rate| {
        let limit = row.filter_limit.map(rate_number);
        line("Filter rate", rate_number(rate), format::filter_rate_unit(units), limit, "filter rate")
    });
    let speed_number = |speed: f64| format::velocity_number(speed, units);
    let speed = row.velocity.map(|speed| {
        let limit = row.velocity_limit.map(speed_number);
        line("Velocity in the pipe", speed_number(speed), format::velocity_unit(units), limit, "velocity")
    });
    rate.into_iter().chain(speed).collect()
}

/// The verdict of a month for a column of a table.
pub fn in_short(row: &WaterMonth) -> String {
    let over: Vec<&str> = ["filter rate", "velocity"].into_iter().filter(|name| row.failing.contains(name)).collect();
    if over.is_empty() {
        row.verdict.word().to_owned()
    } else {
        format!("{}, {} over", row.verdict.word(), over.join(" and "))
    }
}

/// Hours of filtration against their limit with what is allowed for service; `None` where they are not known.
pub fn hours(row: &WaterMonth) -> Option<String> {
    let hours = row.hours_per_day?;
    let in_use = row.hours_in_use.filter(|in_use| format::number(*in_use, 1) != format::number(hours, 1));
    let daily = in_use.map_or_else(
        || format!("Filtered {hours:.1} h a day"),
        |in_use| format!("Filtered {in_use:.1} h a day on the days it was in use"),
    );
    let Some(limit) = row.hours_limit else { return Some(format!("{daily}.")) };
    let judged = row.hours_in_use.unwrap_or(hours);
    let asked = format!("asked for is at least {} h", format::number(limit, 0));
    let allowed = hours_allowed(limit);
    Some(if row.failing.contains(&"filtration hours") {
        let of_which = if allowed > 0.0 {
            format!(
                ", of which {} h a day is allowed for cleaning, changes and a counter's rounding",
                format::number(allowed, 0)
            )
        } else {
            String::new()
        };
        format!("{daily}; {asked}{of_which}: short by {:.1} h.", (limit - allowed - judged).max(0.05))
    } else if judged < limit - 0.05 {
        format!(
            "{daily}; {asked}, and {} h a day less is allowed for cleaning, changes and a counter's rounding: it meets.",
            format::number(allowed, 0)
        )
    } else {
        format!("{daily}; {asked}: it meets.")
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantities::fleet_for_tests::load;

    /// 150 L/min through 10 m² are 15.0 L/min/m², 0.368 gpm/ft², over Georgia's 0.30 (12.2); 1200 L pass in 8 min of 30.
    #[test]
    fn a_rate_over_its_limit_is_never_called_meets_alone() {
        let site = "format: 1\nuse: hotel\nspas: {tub: {fitted: 2026-01-01, volume: 1200 L, stated_flow: 150 L/min, filters: {main: {kind: cartridge, area: 10 m2}}, pumps: {one: {duty: filtration, program: {run: 24 h/day}}}}}\n";
        let fleet = "{format: 1, fleet: Test, currency: USD, timezone: America/Denver, limits: us}";
        let loaded = load(&[("fleet.yaml", fleet), ("sites/home.yaml", site)], "2026-06-30");
        let row = loaded.spas[0].water.months.last().unwrap();
        assert_eq!(row.verdict, Verdict::Meets);
        assert_eq!(
            verdict(Some(row), Units::Us),
            "meets its limit; over its filter rate: 0.37 of at most 0.30 gpm/ft²"
        );
        assert_eq!(
            verdict(Some(row), Units::Metric),
            "meets its limit; over its filter rate: 15.0 of at most 12.2 L/min/m²"
        );
        assert_eq!(in_short(row), "meets, filter rate over");
        assert_eq!(hours(row).as_deref(), Some("Filtered 24.0 h a day; asked for is at least 24 h: it meets."));
        // A hair over the limit does not print as the limit.
        let hair = WaterMonth { filter_rate: row.filter_limit.map(|limit| limit * 1.001), ..row.clone() };
        assert_eq!(over_words(&hair, Units::Us), "over its filter rate: 0.3003 of at most 0.3000 gpm/ft²");
    }
}
