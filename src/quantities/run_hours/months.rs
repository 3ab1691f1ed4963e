//! The hours of each month with their basis and their energy: differences of two values of the
//! cumulative curves, times the pump's power. It computes no hours of its own.

use super::energy::{Currents, Prices, energy_cost};
use super::{MonthHours, RunHours};
use crate::basis::Basis;
use crate::calendar::{Month, days_between, plus_days};
use crate::records::{Fleet, Pump, Site};

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
            let kilowatts = currents.kilowatts(curve.speed, month);
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
                energy_kwh: if known { kilowatts.map(|kw| kw * total) } else { None },
                energy_cost: if known {
                    kilowatts.and_then(|kw| energy_cost(prices.as_ref()?, kw, &energy_hours))
                } else {
                    None
                },
            });
        }
    }
    hours.months.sort_by_key(|m| (m.month, m.speed));
}
