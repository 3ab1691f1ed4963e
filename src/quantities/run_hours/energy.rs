//! The pumps' energy: their input by measured current or by their model, and what it costs at the prices of each
//! day. Heating, air and lights are not in it.

use chrono::NaiveDate;

use crate::calendar::{Month, days_between, plus_days};
use crate::records::forms::{Dated, Money};
use crate::records::log::Quantity;
use crate::records::pumps::Model;
use crate::records::tubs::Speed;
use crate::records::{Fleet, Pump, ReadingRow, Site};

/// Assumed of a single-phase motor under load, where only current and voltage are known.
pub const POWER_FACTOR: f64 = 0.9;
/// Assumed share of its input that a small motor gives at the shaft.
pub const MOTOR_EFFICIENCY: f64 = 0.7;

/// A motor's input in kW: volts times amperes times power factor, and √3 for three phases.
fn input_kilowatts(volts: f64, amperes: f64, power_factor: f64, three_phases: bool) -> f64 {
    let phases = if three_phases { 3f64.sqrt() } else { 1.0 };
    volts * amperes * power_factor * phases / 1000.0
}

/// A motor's input in kW from the power at its shaft.
fn input_from_shaft(shaft_kilowatts: f64, efficiency: f64) -> f64 {
    shaft_kilowatts / efficiency
}

/// A pump's input at a speed in a month, and what it comes from.
#[derive(Debug, Clone)]
pub struct Input {
    /// In kW.
    pub kilowatts: f64,
    /// What it comes from.
    pub from: InputFrom,
}

/// What a pump's input comes from.
#[derive(Debug, Clone)]
pub enum InputFrom {
    /// Amperes (the mean of the month's readings, else the last; none = the model's), volts, and whether three phases.
    Current {
        /// In A.
        amperes: f64,
        /// In V.
        volts: f64,
        /// Whether it has three phases.
        three_phases: bool,
        /// The readings; empty = the model's current.
        readings: Vec<ReadingRow>,
    },
    /// The power at the shaft by the model, in kW.
    Shaft(f64),
}

/// A pump's input at a speed in a month, of each pump that stood at the address in it, in order; `None` = not known.
pub fn inputs(
    fleet: &Fleet,
    site: &Site,
    pump: &Pump,
    exchanges: &[NaiveDate],
    speed: Speed,
    month: Month,
) -> Vec<Option<Input>> {
    let currents = Currents::new(fleet, site, pump, exchanges);
    currents.units(month).map(|(_, last)| currents.input(speed, month, last)).collect()
}

/// The currents measured at a pump, for its power.
pub(super) struct Currents<'a> {
    /// By day.
    measured: Vec<ReadingRow>,
    exchanges: &'a [NaiveDate],
    models: Vec<(NaiveDate, Option<&'a Model>)>,
}

impl<'a> Currents<'a> {
    pub(super) fn new(fleet: &'a Fleet, site: &Site, pump: &Pump, exchanges: &'a [NaiveDate]) -> Self {
        let measured = site
            .readings
            .get(&pump.at)
            .into_iter()
            .flatten()
            .filter(|row| matches!(row.quantity, Quantity::Current | Quantity::CurrentLow))
            .copied()
            .collect();
        Self { measured, exchanges, models: fleet.models_at(site, pump) }
    }

    /// The days of a month by the pump that stood there, each with the last: a pump stands there from the day after its
    /// exchange to the day of the next.
    pub(super) fn units(&self, month: Month) -> impl Iterator<Item = (NaiveDate, NaiveDate)> + use<'a> {
        let (first, last) = (month.first(), month.last());
        let inside = self.exchanges.iter().copied().filter(move |day| *day >= first && *day < last);
        inside.chain([last]).scan(first, |from, to| Some((std::mem::replace(from, plus_days(to, 1)), to)))
    }

    /// The input at a speed, in a month, of the pump that stood there on a day of it.
    pub(super) fn kilowatts(&self, speed: Speed, month: Month, day: NaiveDate) -> Option<f64> {
        self.input(speed, month, day).map(|input| input.kilowatts)
    }

    fn input(&self, speed: Speed, month: Month, day: NaiveDate) -> Option<Input> {
        use uom::si::{electric_current::ampere, electric_potential::volt, power::kilowatt};
        let quantity = match speed {
            Speed::Run | Speed::High => Quantity::Current,
            Speed::Low => Quantity::CurrentLow,
            Speed::All => return None,
        };
        let model = self.models.iter().rev().find(|(from, _)| *from < day).and_then(|(_, model)| *model)?;
        let since = self.exchanges.iter().copied().filter(|exchange| *exchange < day).max();
        let until = self.exchanges.iter().copied().filter(|exchange| *exchange >= day).min();
        // At a visit of exchange the pump that goes is read before, the one that comes after.
        let mine = |row: &&ReadingRow| {
            let begun = since.is_none_or(|since| row.day > since || row.day == since && row.after);
            let stands = until.is_none_or(|until| row.day < until || row.day == until && !row.after);
            row.quantity == quantity && begun && stands
        };
        let known = &self.measured[..self.measured.partition_point(|row| row.day <= month.last())];
        let (earlier, of_month) = known.split_at(known.partition_point(|row| row.day < month.first()));
        let mut readings: Vec<ReadingRow> = of_month.iter().filter(mine).copied().collect();
        if readings.is_empty() {
            readings.extend(earlier.iter().rev().find(mine));
        }
        let measured =
            (!readings.is_empty()).then(|| readings.iter().map(|row| row.value).sum::<f64>() / readings.len() as f64);
        let stated = match speed {
            Speed::Run => model.current.run,
            Speed::Low => model.current.low,
            _ => model.current.high,
        };
        let current = measured.or_else(|| stated.map(|c| c.0.get::<ampere>()));
        let voltage = model.supply.and_then(|s| s.voltage).map(|v| v.0.get::<volt>());
        if let (Some(amperes), Some(volts)) = (current, voltage) {
            let three_phases = model.supply.and_then(|s| s.phases).is_some_and(|p| p.0 == 3.0);
            let kilowatts = input_kilowatts(volts, amperes, POWER_FACTOR, three_phases);
            return Some(Input { kilowatts, from: InputFrom::Current { amperes, volts, three_phases, readings } });
        }
        // The plate's power is that of full speed.
        if speed == Speed::Low {
            return None;
        }
        let shaft = model.power?.0.get::<kilowatt>();
        Some(Input { kilowatts: input_from_shaft(shaft, MOTOR_EFFICIENCY), from: InputFrom::Shaft(shaft) })
    }
}

/// The prices of energy, each from its day on, in order.
pub(super) struct Prices(Vec<(NaiveDate, f64)>);

impl Prices {
    pub(super) fn of(price: &Dated<Money>) -> Self {
        use rust_decimal::prelude::ToPrimitive;
        let number = |money: &Money| money.0.to_f64().unwrap_or(f64::NAN);
        Self(match price {
            Dated::Always(money) => vec![(NaiveDate::MIN, number(money))],
            Dated::From(steps) => steps.iter().map(|(day, money)| (*day, number(money))).collect(),
        })
    }
}

/// The cost of running at a power, at the price of each day; `None` if a day has none.
pub(super) fn energy_cost(prices: &Prices, kilowatts: f64, runs: &[(NaiveDate, NaiveDate, f64)]) -> Option<f64> {
    let mut cost = 0.0;
    for (from, to, hours_a_day) in runs {
        let mut at = *from;
        while at <= *to {
            let next = prices.0.partition_point(|(day, _)| *day <= at);
            let until = prices.0.get(next).map_or(*to, |(day, _)| plus_days(*day, -1).min(*to));
            let hours = hours_a_day * (days_between(at, until) + 1) as f64;
            if hours > 0.0 {
                cost += prices.0.get(next.checked_sub(1)?)?.1 * kilowatts * hours;
            }
            at = plus_days(until, 1);
        }
    }
    Some(cost)
}

#[cfg(test)]
mod tests {
    use super::*;
    use rust_decimal::Decimal;

    #[track_caller]
    fn close(actual: f64, expected: f64, relative: f64) {
        assert!((actual / expected - 1.0).abs() <= relative, "{actual} is not {expected}");
    }

    /// W-28: 1 hp is 0.746 kW (open water-systems textbook 10.3); at the shaft, with a motor of 75 %, 2920 h a year.
    #[test]
    fn from_the_shaft() {
        let kilowatts = input_from_shaft(0.746, 0.75);
        close(kilowatts, 0.9947, 1e-3);
        close(kilowatts * 2920.0, 2904.0, 1e-3);
    }

    /// W-29: 230 V, 8.0 A, power factor 0.85, 8 h a day for 365 days at 0.30 a kWh. W-30: NEC 430.248 in volt-amperes.
    #[test]
    fn from_a_measured_current() {
        let kilowatts = input_kilowatts(230.0, 8.0, 0.85, false);
        close(kilowatts, 1.564, 1e-4);
        close(kilowatts * 2920.0, 4566.9, 1e-4);
        let year = [("2025-01-01".parse().unwrap(), "2025-12-31".parse().unwrap(), 8.0)];
        let price = Prices::of(&Dated::Always(Money(Decimal::new(30, 2))));
        close(energy_cost(&price, kilowatts, &year).unwrap(), 1370.06, 1e-4);
        for (volts, amperes, expected) in
            [(115.0, 16.0, 1.840), (230.0, 8.0, 1.840), (230.0, 12.0, 2.760), (230.0, 17.0, 3.910)]
        {
            close(input_kilowatts(volts, amperes, 1.0, false), expected, 1e-12);
        }
        // Three phases: 400 V, 2.0 A, 0.9 is 1.2471 kW.
        close(input_kilowatts(400.0, 2.0, 0.9, true), 1.2471, 1e-4);
    }
}
