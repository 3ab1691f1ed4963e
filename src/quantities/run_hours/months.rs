//! The hours of each month with their basis and their energy: differences of two values of the
//! cumulative curves, times the pump's power. It computes no hours of its own.

use super::energy::{Currents, Prices, energy_cost};
use super::{MonthHours, RunHours};
use crate::basis::Basis;
use crate::calendar::{Month, days_between, plus_days};
use crate::records::tubs::Speed;
use crate::records::{Fleet, Pump, Site};
use chrono::NaiveDate;

pub(super) fn months(fleet: &Fleet, site: &Site, pump: &Pump, hours: &mut RunHours) {
    let first = Month::of(plus_days(hours.start, 1));
    let last = Month::of(hours.end);
    let currents = Currents::new(fleet, site, pump, &hours.exchanges);
    let prices = fleet.settings.electricity.as_ref().map(Prices::of);
    let mut energy_hours = Vec::new();
    hours.months.reserve_exact(first.through(last).len() * hours.curves.len());
    for curve in &hours.curves {
        let mut runs = curve.runs.iter().peekable();
        for month in first.through(last) {
            let (from, to) = (month.first().max(plus_days(hours.start, 1)), month.last().min(hours.end));
            let mut days = [0.0; Basis::COUNT];
            let (mut metered_days, mut metered_hours, mut unknown) = (0.0, 0.0, false);
            energy_hours.clear();
            while let Some(run) = runs.peek() {
                if run.from > to {
                    break;
                }
                let (begin, end) = (run.from.max(from), run.to.min(to));
                let length = (days_between(begin, end) + 1) as f64;
                match run.basis {
                    Some(basis) => days[basis as usize] += length,
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
            let energy = || energy(&currents, prices.as_ref(), curve.speed, month, &energy_hours);
            let (energy_kwh, energy_cost) = if known { energy() } else { (None, None) };
            // Of equal shares the firmer basis.
            let largest = Basis::ALL.into_iter().rev().max_by(|a, b| days[*a as usize].total_cmp(&days[*b as usize]));
            let basis = largest.filter(|basis| days[*basis as usize] > 0.0);
            hours.months.push(MonthHours {
                month,
                speed: curve.speed,
                hours: known.then_some(total),
                basis: if known { basis } else { None },
                metered_fraction: metered_days / (days_between(from, to) + 1) as f64,
                metered_hours,
                energy_kwh,
                energy_cost,
            });
        }
    }
    hours.months.sort_by_key(|m| (m.month, m.speed));
}

/// The energy of a month's stretches of days, each (first day, last day, hours a day), and its cost, of each pump that
/// stood there by its own power.
fn energy(
    currents: &Currents,
    prices: Option<&Prices>,
    speed: Speed,
    month: Month,
    runs: &[(NaiveDate, NaiveDate, f64)],
) -> (Option<f64>, Option<f64>) {
    let (mut energy, mut cost) = (Some(0.0), Some(0.0));
    for (first, last) in currents.units(month) {
        let clipped = runs.iter().map(|(from, to, rate)| ((*from).max(first), (*to).min(last), *rate));
        let own: Vec<_> = clipped.filter(|(from, to, rate)| from <= to && *rate > 0.0).collect();
        let hours: f64 = own.iter().map(|(from, to, rate)| rate * (days_between(*from, *to) + 1) as f64).sum();
        if hours > 0.0 {
            let kilowatts = currents.kilowatts(speed, month, last);
            energy = energy.zip(kilowatts).map(|(sum, kw)| sum + kw * hours);
            let own = kilowatts.and_then(|kw| energy_cost(prices?, kw, &own));
            cost = cost.zip(own).map(|(sum, own)| sum + own);
        }
    }
    // What a month costs in which nothing ran is nothing only where a price is known.
    (energy, cost.filter(|_| prices.is_some()))
}
