//! The hours of each month with their basis and their energy: differences of two values of the
//! cumulative curves, times the pump's power. It computes no hours of its own.

use std::collections::BTreeMap;

use chrono::NaiveDate;

use super::{MonthHours, RunHours, models};
use crate::basis::Basis;
use crate::calendar::{Month, days_between, plus_days};
use crate::records::forms::{Dated, Money};
use crate::records::log::Quantity;
use crate::records::pumps::Model;
use crate::records::tubs::Speed;
use crate::records::{Fleet, Pump, Site};

pub(super) fn months(fleet: &Fleet, site: &Site, pump: &Pump, hours: &mut RunHours) {
    let first = Month::of(plus_days(hours.start, 1));
    let last = Month::of(hours.end);
    let currents = Currents::new(fleet, site, pump, &hours.exchanges);
    for curve in &hours.curves {
        let mut runs = curve.runs.iter().peekable();
        for month in first.through(last) {
            let (from, to) = (month.first().max(plus_days(hours.start, 1)), month.last().min(hours.end));
            let mut days: BTreeMap<Basis, f64> = BTreeMap::new();
            let (mut metered_days, mut metered_hours, mut unknown, mut energy_hours) = (0.0, 0.0, false, Vec::new());
            while let Some(run) = runs.peek() {
                if run.from > to {
                    break;
                }
                let (begin, end) = (run.from.max(from), run.to.min(to));
                let length = (days_between(begin, end) + 1) as f64;
                match run.basis {
                    Some(basis) => *days.entry(basis).or_default() += length,
                    None => unknown = true,
                }
                if run.between_readings {
                    metered_days += length;
                    metered_hours += run.hours_a_day * length;
                }
                energy_hours.push((begin, end, run.hours_a_day));
                if run.to > to {
                    break;
                }
                runs.next();
            }
            let total: f64 = energy_hours.iter().map(|(b, e, rate)| rate * (days_between(*b, *e) + 1) as f64).sum();
            let known = !unknown;
            let kilowatts = currents.kilowatts(curve.speed, month);
            let basis = days.into_iter().max_by(|a, b| a.1.total_cmp(&b.1).then(b.0.cmp(&a.0))).map(|(basis, _)| basis);
            hours.months.push(MonthHours {
                month,
                speed: curve.speed,
                hours: known.then_some(total),
                basis: if known { basis } else { None },
                metered_fraction: metered_days / (days_between(from, to) + 1) as f64,
                metered_hours,
                energy_kwh: if known { kilowatts.map(|kw| kw * total) } else { None },
                energy_cost: if known {
                    kilowatts.and_then(|kw| energy_cost(fleet.settings.electricity.as_ref()?, kw, &energy_hours))
                } else {
                    None
                },
            });
        }
    }
    hours.months.sort_by_key(|m| (m.month, m.speed));
}

/// The cost of running at a power, at the price of each day; `None` if a day has none.
fn energy_cost(price: &Dated<Money>, kilowatts: f64, runs: &[(NaiveDate, NaiveDate, f64)]) -> Option<f64> {
    use rust_decimal::prelude::ToPrimitive;
    let mut cost = 0.0;
    for (from, to, hours_a_day) in runs {
        let mut at = *from;
        while at <= *to {
            let until = match price {
                Dated::Always(_) => *to,
                Dated::From(steps) => {
                    let next = steps.iter().map(|(day, _)| *day).find(|day| *day > at);
                    next.map_or(*to, |next| plus_days(next, -1).min(*to))
                }
            };
            let hours = hours_a_day * (days_between(at, until) + 1) as f64;
            if hours > 0.0 {
                cost += price.on(at)?.0.to_f64()? * kilowatts * hours;
            }
            at = plus_days(until, 1);
        }
    }
    Some(cost)
}

/// Assumed of a single-phase motor under load, where only current and voltage are known.
pub const POWER_FACTOR: f64 = 0.9;
/// Assumed share of its input that a small motor gives at the shaft.
pub const MOTOR_EFFICIENCY: f64 = 0.7;

/// The currents measured at a pump, for its power.
struct Currents<'a> {
    /// Quantity, day and amperes, by day.
    measured: Vec<(Quantity, NaiveDate, f64)>,
    exchanges: &'a [NaiveDate],
    models: Vec<(NaiveDate, Option<&'a Model>)>,
}

impl<'a> Currents<'a> {
    fn new(fleet: &'a Fleet, site: &Site, pump: &Pump, exchanges: &'a [NaiveDate]) -> Self {
        let measured = site
            .readings
            .get(&pump.at)
            .into_iter()
            .flatten()
            .filter(|row| matches!(row.quantity, Quantity::Current | Quantity::CurrentLow))
            .map(|row| (row.quantity, row.day, row.value))
            .collect();
        Self { measured, exchanges, models: models(fleet, site, pump) }
    }

    /// The pump's input at a speed in a month.
    fn kilowatts(&self, speed: Speed, month: Month) -> Option<f64> {
        use uom::si::{electric_current::ampere, electric_potential::volt, power::kilowatt};
        let quantity = match speed {
            Speed::Run | Speed::High => Quantity::Current,
            Speed::Low => Quantity::CurrentLow,
            Speed::All => return None,
        };
        let last_day = month.last();
        let model = self.models.iter().rev().find(|(from, _)| *from <= last_day).and_then(|(_, model)| *model)?;
        let since = self.exchanges.iter().copied().filter(|day| *day <= last_day).max().unwrap_or(NaiveDate::MIN);
        let mine = |day: NaiveDate| day >= since && day <= last_day;
        let of_speed = || self.measured.iter().filter(|(q, day, _)| *q == quantity && mine(*day));
        let of_month: Vec<f64> =
            of_speed().filter(|(_, day, _)| Month::of(*day) == month).map(|(_, _, a)| *a).collect();
        let measured = if of_month.is_empty() {
            of_speed().next_back().map(|(_, _, a)| *a)
        } else {
            Some(of_month.iter().sum::<f64>() / of_month.len() as f64)
        };
        let stated = match speed {
            Speed::Run => model.current.run,
            Speed::Low => model.current.low,
            _ => model.current.high,
        };
        let current = measured.or_else(|| stated.map(|c| c.0.get::<ampere>()));
        let voltage = model.supply.and_then(|s| s.voltage).map(|v| v.0.get::<volt>());
        if let (Some(current), Some(voltage)) = (current, voltage) {
            let phases =
                if model.supply.and_then(|s| s.phases).is_some_and(|p| p.0 == 3.0) { 3f64.sqrt() } else { 1.0 };
            return Some(current * voltage * POWER_FACTOR * phases / 1000.0);
        }
        // The plate's power is that of full speed.
        if speed == Speed::Low {
            return None;
        }
        model.power.map(|power| power.0.get::<kilowatt>() / MOTOR_EFFICIENCY)
    }
}
