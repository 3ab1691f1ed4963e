//! A site's charts from its figures: which are drawn, and what goes into each.

use chrono::NaiveDate;

use crate::address::Address;
use crate::basis::Basis;
use crate::calendar::{Month, plus_days};
use crate::charts::{self, Chart};
use crate::quantities::failure_trends::Scope;
use crate::quantities::measured_trends::{Drifting, MeasuredTrend, OVERLOADED};
use crate::quantities::water_turnover::Verdict;
use crate::records::fleet::{Paper, Units};
use crate::records::log::Quantity;
use crate::records::tubs::Speed;
use crate::records::{Fleet, ReadingRow};
use crate::report::fleet_state::grouped;
use crate::report::format;
use crate::report::site_view::ACTIONS;
use crate::schedule::due::PartDue;
use crate::site::SiteFigures;
use crate::to_do::{Urgency, part_urgency};

/// The words for a range in every chart's caption.
const RANGE: &str = "central 80 %";
/// Rows of the strip of the coming year, and beside a full list of actions, with which they share page one; the shorter
/// paper has room for four less.
const YEAR_ROWS: usize = 7;
const YEAR_ROWS_BESIDE_MUCH: usize = 5;
/// Pumps whose run hours are drawn, and speeds of all of them.
const PUMPS_DRAWN: usize = 6;
const PANELS: usize = 6;
/// Months of run hours drawn where several pumps stand beside each other, and where one stands alone.
const HOURS_MONTHS: usize = 12;
const ALONE_MONTHS: usize = 24;
/// Months of turnover drawn.
const MONTHS_DRAWN: usize = 14;
/// Drifts drawn: those that reach a limit first; of more the table tells.
const DRIFTS_DRAWN: usize = 3;
/// Failures from which a pump's are drawn.
const FAILURES_DRAWN: usize = 3;

/// The charts of a site.
#[derive(Debug, Default)]
pub struct Charts {
    /// The coming year.
    pub year: Option<Chart>,
    /// Turnover by spa.
    pub turnover: Vec<(Address, Chart)>,
    /// Pressure by filter.
    pub filters: Vec<(Address, Chart)>,
    /// Run hours of the pumps that have something to say, in one picture.
    pub run_hours: Option<Chart>,
    /// What drifts of what is measured at pumps and spas.
    pub conditions: Vec<(Address, Chart)>,
    /// Failures by pump.
    pub failures: Vec<(Address, Chart)>,
    /// The mean failures of the site's pumps, where no pump of its own says it all.
    pub mean_failures: Option<Chart>,
}

impl Charts {
    /// Every chart, in the order of the report.
    pub fn all(&self) -> impl Iterator<Item = &Chart> {
        self.year
            .iter()
            .chain(self.turnover.iter().map(|(_, c)| c))
            .chain(self.filters.iter().map(|(_, c)| c))
            .chain(&self.run_hours)
            .chain(self.conditions.iter().map(|(_, c)| c))
            .chain(self.failures.iter().map(|(_, c)| c))
            .chain(&self.mean_failures)
    }
}

/// Draws what has something to show.
pub fn draw(fleet: &Fleet, site: &SiteFigures, month: Month) -> Charts {
    let mut result = Charts { year: year(site, month, fleet.settings.paper), ..Charts::default() };
    let worst = crate::report::site::Numbers::of(site).worst.map(|worst| worst.at);
    for spa in site.spas {
        // Of several spas the one worst off is drawn, and any that is not known to be in order.
        let in_order = spa.water.months.last().is_some_and(|m| m.verdict == Verdict::Meets);
        if site.spas.len() > 1 && in_order && worst.as_deref() != Some(spa.at.as_str()) {
            continue;
        }
        let input = charts::turnover::TurnoverInput {
            name: format!("turnover-{}", file_name(&spa.at)),
            spa: format::place(spa.at.as_str()),
            months: spa.water.months.iter().rev().take(MONTHS_DRAWN).rev().map(turnover_month).collect(),
            limit_minutes: spa.water.months.last().and_then(|m| m.limit_min),
            few_hours: spa
                .water
                .months
                .iter()
                .filter(|m| m.failing.contains(&"filtration hours"))
                .map(|m| m.month.first())
                .collect(),
            range_name: RANGE.to_owned(),
        };
        result.turnover.extend(charts::turnover::turnover(&input).ok().map(|chart| (spa.at.clone(), chart)));
        for filter in &spa.filters {
            // A filter that keeps its pressure says enough in its table.
            let something_to_do =
                site.to_do.iter().any(|t| t.reason.starts_with("filter-") && t.at.as_ref() == Some(&filter.at));
            if site.spas.len() > 1 && !something_to_do {
                continue;
            }
            result.filters.extend(filter_chart(fleet, site, &filter.at, &filter.state).map(|c| (filter.at.clone(), c)));
        }
    }
    let mut pumps: Vec<_> = site.spas.iter().flat_map(|s| &s.pumps).collect();
    // Those with most to say first: failures, then hours.
    pumps.sort_by(|a, b| {
        let say = |p: &crate::quantities::PumpFigures| {
            (p.failures.incidents.len(), p.forecast.as_ref().map_or(0, |f| f.year() as u64))
        };
        say(b).cmp(&say(a)).then(a.at.cmp(&b.at))
    });
    // Where there is one spa its pumps are drawn; else those with something to say, the rest stands in the table.
    let speaks = |pump: &crate::quantities::PumpFigures| {
        site.spas.len() == 1
            || !pump.failures.incidents.is_empty()
            || site.to_do.iter().any(|t| t.urgency <= Urgency::Plan && t.at.as_ref() == Some(&pump.at))
    };
    // A pump's speeds stand together or not at all.
    let mut panels = 0;
    let fits = |pump: &&crate::quantities::PumpFigures| {
        let speeds = pump.hours.as_ref().map_or(0, |hours| hours.curves.len());
        let fits = speeds > 0 && panels + speeds <= PANELS;
        panels += if fits { speeds } else { 0 };
        fits
    };
    let mut drawn: Vec<_> = pumps.iter().copied().filter(|p| speaks(p)).filter(fits).take(PUMPS_DRAWN).collect();
    drawn.sort_by(|a, b| a.at.cmp(&b.at));
    result.run_hours = run_hours_chart(site, &drawn).map(|chart| with_the_rest(chart, drawn.len(), pumps.len()));
    result.conditions = conditions(fleet, site);
    for pump in pumps.iter().filter(|p| p.failures.incidents.len() >= FAILURES_DRAWN) {
        let input = charts::failures::FailuresInput {
            name: format!("failures-{}", file_name(&pump.at)),
            subject: format::place(pump.at.as_str()),
            from: pump.failures.since,
            to: site.as_of,
            failures: pump
                .failures
                .incidents
                .iter()
                .map(|i| charts::failures::Failure {
                    date: i.day,
                    what: i.what.iter().map(|w| format::words(w)).collect::<Vec<_>>().join(", "),
                })
                .collect(),
            bounds: failure_bounds(pump, site.as_of),
            range_name: format!("{RANGE} of the number to be expected, by the count alone"),
        };
        result.failures.extend(charts::failures::failures(&input).ok().map(|c| (pump.at.clone(), c)));
    }
    result.failures.sort_by(|a, b| a.0.cmp(&b.0));
    let trends = &site.lives.trends;
    result.mean_failures = trends.scope(Scope::Site, site.site.id.as_str()).and_then(|trend| {
        crate::report::fleet::mean_failures(trend, "mean-failures".to_owned(), site.site.name.clone())
    });
    result
}

/// The exact range of the mean of a count, at each failure and at the end (the ends of a steady rate's,
/// NIST/SEMATECH e-Handbook 8.4.5.1).
fn failure_bounds(pump: &crate::quantities::PumpFigures, as_of: NaiveDate) -> Vec<charts::FailureBound> {
    let days = pump.failures.incidents.iter().map(|incident| incident.day);
    let counted = days.clone().enumerate().map(|(before, day)| (day, before as f64 + 1.0));
    let last = std::iter::once((as_of, days.count() as f64));
    counted
        .chain(last)
        .map(|(date, failures)| {
            let (low, high) = crate::stats::counts::rate_range(failures, 1.0, 0.8);
            charts::FailureBound { date, low, high }
        })
        .collect()
}

fn file_name(at: &Address) -> String {
    at.as_str().replace('/', ".")
}

fn turnover_month(row: &crate::quantities::water_turnover::WaterMonth) -> charts::turnover::TurnoverMonth {
    use charts::turnover::{TurnoverBasis, TurnoverState};
    let state = match (&row.turnover, &row.flow, row.verdict) {
        (_, _, Verdict::Closed) => TurnoverState::Closed,
        (Some(turnover), Some(flow), _) => TurnoverState::Known {
            minutes: turnover.value,
            range_minutes: Some((turnover.low, turnover.high)),
            basis: match flow.basis {
                Basis::Measured => TurnoverBasis::Measured,
                Basis::Stated => TurnoverBasis::Stated,
                _ => TurnoverBasis::Calculated,
            },
            is_short: row.failing.contains(&"turnover"),
        },
        _ => TurnoverState::Unknown,
    };
    charts::turnover::TurnoverMonth { month: row.month.first(), state }
}

/// Says under the picture of run hours how many of the pumps it shows, and which.
fn with_the_rest(mut chart: Chart, shown: usize, all: usize) -> Chart {
    if shown < all {
        let which = format!(
            " {} of {all} pumps {} shown: those that failed or that something is to be done about, the longest running \
             first. The table of hours has the others.",
            format::number(shown as f64, 0),
            if shown == 1 { "is" } else { "are" }
        );
        chart.caption.push_str(&which);
        chart.alt.push_str(&which);
    }
    chart
}

/// The hours of some pumps, a panel each pump and speed.
fn run_hours_chart(site: &SiteFigures, pumps: &[&crate::quantities::PumpFigures]) -> Option<Chart> {
    use charts::run_hours::{RunHoursInput, RunHoursMonth, RunHoursSpeed};
    let place = |at: &Address| match (site.spas.len(), at.as_str().split_once('/')) {
        (1, Some((_, rest))) => format::place(rest),
        _ => format::place(at.as_str()),
    };
    let alone = pumps.iter().map(|p| p.hours.as_ref().map_or(0, |h| h.curves.len())).sum::<usize>() == 1;
    let months_drawn = if alone { ALONE_MONTHS } else { HOURS_MONTHS };
    let speeds: Vec<RunHoursSpeed> = pumps
        .iter()
        .filter_map(|pump| Some((pump, pump.hours.as_ref()?)))
        .flat_map(|(pump, hours)| {
            hours.curves.iter().map(move |curve| {
                let of_speed = || hours.months.iter().filter(|m| m.speed == curve.speed);
                let skipped = of_speed().count().saturating_sub(months_drawn);
                RunHoursSpeed {
                    speed: match (alone, curve.speed) {
                        (true, _) => String::new(),
                        (_, Speed::Run) => place(&pump.at),
                        (_, speed) => format!("{}, {} speed", place(&pump.at), speed.word()),
                    },
                    months: of_speed()
                        .skip(skipped)
                        .filter_map(|m| {
                            let total = m.hours?;
                            Some(RunHoursMonth {
                                month: m.month.first(),
                                metered_hours: m.metered_hours.min(total),
                                estimated_hours: (total - m.metered_hours).max(0.0),
                                range_hours: None,
                            })
                        })
                        .collect(),
                }
            })
        })
        .collect();
    let input = RunHoursInput {
        name: "run-hours".to_owned(),
        pump: match pumps {
            [pump] => place(&pump.at),
            _ => site.site.name.clone(),
        },
        speeds,
        range_name: RANGE.to_owned(),
    };
    charts::run_hours::run_hours(&input).ok()
}

/// What drifts by more than chance, but for what the pictures of filters show.
fn conditions(fleet: &Fleet, site: &SiteFigures) -> Vec<(Address, Chart)> {
    let mut worth: Vec<&MeasuredTrend> =
        site.trends.iter().filter(|trend| trend.quantity != Drifting::Pressure && trend.is_worth_telling()).collect();
    worth.sort_by_key(|trend| (trend.crosses.is_none(), trend.crosses));
    let drawn = worth.into_iter().filter_map(|trend| Some((trend.at.clone(), condition_chart(fleet, site, trend)?)));
    let mut drawn: Vec<_> = drawn.take(DRIFTS_DRAWN).collect();
    drawn.sort_by(|a, b| a.0.cmp(&b.0));
    drawn
}

fn condition_chart(fleet: &Fleet, site: &SiteFigures, trend: &MeasuredTrend) -> Option<Chart> {
    use charts::{Crossing, Reading, Trend};
    let units = fleet.settings.units;
    let us = units == Units::Us;
    let setpoint = || {
        let spa = site.site.spas.iter().find(|spa| spa.at == trend.at)?;
        Some(spa.setpoint?.0.get::<uom::si::thermodynamic_temperature::degree_celsius>())
    };
    let amps = |name: &str| (name.to_owned(), "A".to_owned(), 2, 1.0);
    let (quantity, unit, decimals, scale) = match trend.quantity {
        Drifting::Current => amps("motor current"),
        Drifting::CurrentLow => amps("motor current at low speed"),
        Drifting::Pressure | Drifting::CleanPressure => (
            "pressure just after cleaning".to_owned(),
            format::pressure_unit(units).to_owned(),
            format::pressure_decimals(units),
            format::pressure_in(1.0, units),
        ),
        Drifting::TemperatureLag => (
            "water below its setpoint".to_owned(),
            if us { "°F" } else { "°C" }.to_owned(),
            1,
            if us { 1.8 } else { 1.0 },
        ),
    };
    let setpoint = if trend.quantity == Drifting::TemperatureLag { Some(setpoint()?) } else { None };
    // Of a gauge read just after cleaning only what the line is fitted to: other readings are of a fouled filter.
    let cleans = crate::quantities::filters::cleans(site.site, &trend.at);
    let just_cleaned = |row: &ReadingRow| row.after && cleans.binary_search(&row.day).is_ok();
    let readings: Vec<Reading> = site
        .site
        .readings_of(&trend.at, trend.quantity.read())
        .filter(|row| (trend.from..=trend.to).contains(&row.day))
        .filter(|row| trend.quantity != Drifting::CleanPressure || just_cleaned(row))
        .map(|row| Reading {
            date: row.day,
            value: scale * setpoint.map_or(row.value, |setpoint| setpoint - row.value),
            is_estimated: false,
        })
        .collect();
    let crossing = trend.crosses.map(|expected| Crossing {
        earliest: trend.crosses_low.unwrap_or(expected),
        expected,
        latest: trend.crosses_high,
    });
    let to = trend.crosses.filter(|day| *day > trend.to).unwrap_or(trend.to);
    let value = |day: NaiveDate, slope: f64| scale * trend.value_on(day, slope);
    let line = Trend {
        from: trend.from,
        from_value: value(trend.from, trend.slope),
        to,
        to_value: value(to, trend.slope),
        range: trend.range.map(|(low, high)| [low, high].map(|slope| (value(trend.from, slope), value(to, slope)))),
        crossing,
    };
    let limit_name = match trend.quantity {
        Drifting::Current | Drifting::CurrentLow => format!("{:.0} % over its model's", (OVERLOADED - 1.0) * 100.0),
        Drifting::Pressure | Drifting::CleanPressure => "to be cleaned".to_owned(),
        Drifting::TemperatureLag => "limit".to_owned(),
    };
    let word = trend.quantity.word().replace('_', "-");
    charts::condition::condition(&charts::condition::ConditionInput {
        name: format!("condition-{}-{word}", file_name(&trend.at)),
        subject: format::place(trend.at.as_str()),
        quantity,
        unit,
        decimals,
        from: trend.from,
        to: site.as_of,
        readings,
        trend: Some(line),
        limit: trend.limit.map(|limit| (scale * limit, limit_name)),
        range_name: RANGE.to_owned(),
    })
    .ok()
}

fn filter_chart(
    fleet: &Fleet,
    site: &SiteFigures,
    at: &Address,
    state: &crate::quantities::filters::FilterState,
) -> Option<Chart> {
    use charts::{Crossing, Reading, Trend};
    let from = plus_days(site.as_of, -183);
    let units = fleet.settings.units;
    let shown = |bar: f64| format::pressure_in(bar, units);
    let readings: Vec<Reading> = site
        .site
        .readings_of(at, Quantity::Pressure)
        .filter(|row| row.day >= from)
        .map(|row| Reading { date: row.day, value: shown(row.value), is_estimated: false })
        .collect();
    let trend = state.clean_by.zip(state.rise_per_day).and_then(|((expected, earliest, latest), _)| {
        let from = state.read_on?;
        let from_value = state.pressure?;
        let clean = state.clean_pressure?;
        let limit = clean + state.rise_limit?;
        (expected > from).then(|| Trend {
            from,
            from_value: shown(from_value),
            to: expected,
            to_value: shown(limit),
            range: None,
            crossing: Some(Crossing { earliest, expected, latest: Some(latest) }),
        })
    });
    let input = charts::filter::FilterInput {
        name: format!("filter-{}", file_name(at)),
        filter: format::place(at.as_str()),
        from,
        to: state.clean_by.map_or(site.as_of, |c| c.0.min(plus_days(site.as_of, 60)).max(site.as_of)),
        unit: format::pressure_unit(units).to_owned(),
        decimals: format::pressure_decimals(units),
        readings,
        cleans: crate::quantities::filters::cleans(site.site, at).into_iter().filter(|d| *d >= from).collect(),
        clean_pressure: state.clean_pressure.map(shown),
        limit_pressure: state.clean_pressure.zip(state.rise_limit).map(|(c, r)| shown(c + r)),
        trend,
        range_name: RANGE.to_owned(),
    };
    charts::filter::filter(&input).ok()
}

fn year(site: &SiteFigures, month: Month, paper: Paper) -> Option<Chart> {
    use charts::year::{ClosedSeason, DayRange, YearInput, YearRow};
    let first = month.next().first();
    let last = plus_days(first, 364);
    let stays: Vec<(NaiveDate, NaiveDate)> =
        site.site.spas.iter().filter_map(|s| s.stays.as_ref()).flat_map(|s| s.occupied()).collect();
    let known = site.site.spas.iter().any(|s| s.stays.is_some());
    let guests = known.then(|| {
        let mut ranges: Vec<DayRange> = stays
            .iter()
            .filter(|(from, to)| *to > first && *from <= last)
            .map(|(from, to)| DayRange { first: (*from).max(first), last: plus_days(*to, -1) })
            .collect();
        ranges.sort_by_key(|r| (r.first, r.last));
        ranges.dedup_by_key(|r| (r.first, r.last));
        ranges
    });
    let closed = site
        .site
        .closed
        .iter()
        .filter(|c| c.to >= first && c.from <= last)
        .map(|c| ClosedSeason {
            days: DayRange { first: c.from.max(first), last: c.to.min(last) },
            word: if c.drained { "closed, drained" } else { "closed" }.to_owned(),
        })
        .collect();
    // What has passed only for want of a log is asked about, and no day of the year.
    let by_record = |part: &&PartDue| !part.unrecorded && part.due.is_some_and(|due| due <= last);
    let mut due: Vec<&PartDue> = site.parts.iter().filter(by_record).collect();
    due.sort_by_key(|p| (p.due, p.part.at.clone()));
    let short_paper = usize::from(paper == Paper::UsLetter);
    let most = if grouped(&site.to_do).len() >= ACTIONS { YEAR_ROWS_BESIDE_MUCH } else { YEAR_ROWS } - 4 * short_paper;
    let mut rows: Vec<YearRow> = due
        .iter()
        .take(most)
        .filter_map(|part| {
            let label = format!("{}: {}", format::place(part.part.at.as_str()), format::words(part.part.id.as_str()));
            let mark = part_urgency(part, site.as_of).unwrap_or(Urgency::Note);
            let due = part.due?;
            Some(if due < first {
                YearRow::Overdue { label, mark, since: Some(due) }
            } else {
                let range = part.due_low.zip(part.due_high).filter(|(low, high)| low != high);
                YearRow::Due { label, mark, date: due, range }
            })
        })
        .collect();
    let tasks: Vec<NaiveDate> = site
        .tasks
        .iter()
        .filter(|t| t.task.skill.is_some())
        .filter_map(|t| t.due)
        .filter(|due| *due >= first && *due <= last)
        .collect();
    let visits: Vec<NaiveDate> =
        site.visits.iter().map(|v| v.date).filter(|day| *day >= first && *day <= last).collect();
    if !visits.is_empty() {
        rows.insert(0, YearRow::Events { label: "Planned visits".to_owned(), dates: visits });
    }
    if !tasks.is_empty() {
        rows.push(YearRow::Events { label: "Checks by a licensed person".to_owned(), dates: tasks });
    }
    charts::year::year(&YearInput {
        name: "year".to_owned(),
        first_month: first,
        guests,
        closed,
        rows,
        range_name: RANGE.to_owned(),
    })
    .ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Where not every pump is drawn the note under the chart, and what is read out in its place, say how many are.
    #[test]
    fn the_note_under_the_hours_says_which_pumps_are_drawn() {
        let chart = || Chart {
            name: "run-hours".to_owned(),
            svg: String::new(),
            alt: "Found.".to_owned(),
            caption: "Solid: metered.".to_owned(),
        };
        let all = with_the_rest(chart(), 6, 6);
        assert_eq!((all.caption.as_str(), all.alt.as_str()), ("Solid: metered.", "Found."));
        let some = with_the_rest(chart(), 6, 40);
        let says = "6 of 40 pumps are shown: those that failed or that something is to be done about, the longest running \
                    first. The table of hours has the others.";
        assert_eq!(some.caption, format!("Solid: metered. {says}"));
        assert_eq!(some.alt, format!("Found. {says}"));
        assert!(with_the_rest(chart(), 1, 7).caption.contains("1 of 7 pumps is shown"));
    }
}
