//! How many nights of the months to come will guests be in, where not all are booked yet?

use chrono::NaiveDate;

use crate::calendar::{Month, days_between, plus_days};
use crate::records::Spa;

/// Spread of the share of nights booked in a month where no two years of bookings show it: assumed.
const ASSUMED_OCCUPATION_SPREAD: f64 = 0.15;
/// As how many months of bookings that assumption counts against those there are: assumed.
const ASSUMED_COUNTS_AS: f64 = 1.0;

/// How many nights are usually booked, by month of the year.
pub(super) struct UsualOccupation {
    occupied: Vec<(NaiveDate, NaiveDate)>,
    by_month: [Option<f64>; 12],
    overall: Option<f64>,
    /// The spread of a month's share of nights booked about the usual one.
    pub(super) spread: f64,
}

impl UsualOccupation {
    pub(super) fn of(spa: &Spa, as_of: NaiveDate) -> Self {
        let occupied = spa.stays.as_ref().map(|s| s.occupied()).unwrap_or_default();
        let mut usual = Self { occupied, by_month: [None; 12], overall: None, spread: 0.0 };
        let Some((first, _)) = usual.occupied.first().copied() else { return usual };
        let (mut all_nights, mut all_days) = (0.0, 0.0);
        let mut shares: Vec<f64> = Vec::new();
        let mut sums = [(0.0, 0.0); 12];
        let last = Month::of(as_of);
        for month in Month::of(first).next().max(last.plus(-35)).through(last) {
            let (nights, days) = (usual.nights(month.first(), month.last()), f64::from(month.days()));
            let sum = &mut sums[month.number() as usize - 1];
            sum.0 += nights;
            sum.1 += days;
            all_nights += nights;
            all_days += days;
            shares.push(nights / days);
        }
        for (share, (nights, days)) in usual.by_month.iter_mut().zip(sums) {
            *share = (days > 0.0).then(|| nights / days);
        }
        usual.overall = (all_days > 0.0).then(|| all_nights / all_days);
        // The same month of two years differs by the root of two spreads.
        let pairs = shares.len().saturating_sub(12);
        let squares: f64 = shares.iter().skip(12).zip(&shares).map(|(now, before)| (now - before).powi(2) / 2.0).sum();
        usual.spread = ((ASSUMED_COUNTS_AS * ASSUMED_OCCUPATION_SPREAD.powi(2) + squares)
            / (ASSUMED_COUNTS_AS + pairs as f64))
            .sqrt();
        // What is usual is itself the mean of so many years only.
        let years = (shares.len() as f64 / 12.0).max(1.0);
        usual.spread *= (1.0 + 1.0 / years).sqrt();
        usual
    }

    pub(super) fn share(&self, month: Month) -> Option<f64> {
        self.by_month[month.number() as usize - 1].or(self.overall)
    }

    /// Nights booked in some days, both counted.
    pub(super) fn nights(&self, from: NaiveDate, to: NaiveDate) -> f64 {
        let end = plus_days(to, 1);
        let begin = self.occupied.partition_point(|(_, leaving)| *leaving <= from);
        self.occupied[begin..]
            .iter()
            .take_while(|(first, _)| *first < end)
            .map(|(first, leaving)| days_between((*first).max(from), (*leaving).min(end)).max(0) as f64)
            .sum()
    }
}
