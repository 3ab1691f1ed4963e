//! What a failure costs, and failures of a pump that no wear part explains.

use super::{Sums, Terms, Tracer, Worlds};
use crate::costs::year::{SiteYear, Unexplained};
use crate::quantities::expected_failures::Residual;
use crate::records::customers::Scope;
use crate::stats::random::{Stream, even};

/// What a failure costs.
#[derive(Debug, Clone, Copy)]
pub(super) struct Failure {
    found_labour: f64,
    callout_labour: f64,
    callout_travel: f64,
    parts: f64,
    damage: f64,
    nights: f64,
    callout: bool,
}

impl Failure {
    /// How it comes to be known is drawn: by a call, in or outside working hours, or at a visit.
    pub(super) fn drawn(
        year: &SiteYear,
        labour: f64,
        parts: f64,
        damage: f64,
        nights: f64,
        mut even: impl FnMut() -> f64,
    ) -> Self {
        let callout = even() < year.habits.by_callout;
        let outside = even() < year.habits.out_of_hours;
        let factor = if outside { year.out_of_hours_factor } else { 1.0 };
        Self {
            found_labour: if callout { 0.0 } else { labour },
            callout_labour: if callout { labour * factor } else { 0.0 },
            callout_travel: if callout { year.callout_time * factor + year.callout_fare } else { 0.0 },
            parts,
            damage,
            nights,
            callout,
        }
    }

    pub(super) fn add_to(&self, sums: &mut Sums) {
        sums.found_labour += self.found_labour;
        sums.callout_labour += self.callout_labour;
        sums.callout_travel += self.callout_travel;
        sums.failed_parts += self.parts;
        sums.damage += self.damage;
        sums.nights += self.nights;
        sums.failures += 1;
        sums.callouts += u32::from(self.callout);
    }

    pub(super) fn borne(&self, scope: Scope, terms: &Terms) -> f64 {
        let mut sums = Sums::default();
        self.add_to(&mut sums);
        sums.total(scope, terms)
    }
}

/// A pump's failures that no part explains: their number given the rate of the year is Poisson's, or, where pumps
/// differ, negative binomial. It is found by inversion of the one word of the draw. In years in which the pump gets worse, by its
/// story, they are among its own failures.
#[expect(clippy::too_many_arguments, reason = "a block of draws with all that they add to")]
pub(super) fn draw_unexplained(
    year: &SiteYear,
    one: &Unexplained,
    stream: &Stream,
    worlds: &Worlds,
    first: usize,
    words: &[u32],
    story: Option<&[bool]>,
    sums: &mut [Sums],
    tracer: &mut Tracer,
) {
    let Some(residual) = year.residual.as_ref().filter(|_| !worlds.fleet_rate.is_empty()) else { return };
    for (draw, (word, sums)) in words.iter().zip(sums).enumerate() {
        if story.is_some_and(|story| story[draw]) {
            continue;
        }
        let number = number_by_rate(residual, worlds.fleet_rate[first + draw], one, even(*word));
        if number > 0 {
            let mut more = stream.more(first + draw);
            for _ in 0..number {
                let failure = Failure::drawn(year, one.labour, one.parts, one.damage, one.nights, || more.even());
                failure.add_to(sums);
                tracer.add_unexplained(draw, &failure);
            }
        }
    }
}

/// The number up to which a share of the distribution lies, given the rate of the year.
fn number_by_rate(residual: &Residual, fleet_rate: f64, one: &Unexplained, share: f64) -> u32 {
    let of_pump = residual.of_pump(fleet_rate, one.history);
    // The chance of any failure is at most their mean number (Markov): most years are done with here.
    let mean = of_pump.as_ref().map_or(fleet_rate, crate::stats::counts::Gamma::mean) * one.hours;
    if share <= 1.0 - mean {
        return 0;
    }
    let (mut chance, shape, step) = match of_pump {
        Some(gamma) => {
            let stays = gamma.rate / (gamma.rate + one.hours);
            (stays.powf(gamma.shape), Some(gamma.shape), 1.0 - stays)
        }
        None => ((-fleet_rate * one.hours).exp(), None, fleet_rate * one.hours),
    };
    let (mut summed, mut number) = (chance, 0u32);
    while share > summed && number < 100 {
        number += 1;
        let n = f64::from(number);
        chance *= step * shape.map_or(1.0 / n, |shape| (shape + n - 1.0) / n);
        summed += chance;
    }
    number
}
