//! How fouled is each filter, and when will it have to be cleaned? From the gauge at its inlet.
//!
//! Only the rise above clean is the filter's. Clean is what the gauge showed after the last clean,
//! else what the record states. The line through the readings since the last clean is a robust one: a
//! gauge is read by eye, and one reading written down wrong must not move the day to clean.

use chrono::NaiveDate;
use uom::si::pressure::bar;

use crate::address::Address;
use crate::basis::{Figure, Source};
use crate::calendar::{Month, days_between, plus_days};
use crate::quantities::robust_slope::{self, Line};
use crate::records::log::{Entry, Quantity};
use crate::records::upkeep::Every;
use crate::records::{Filter, Fleet, ReadingRow, Site, Spa};

/// A filter at the as-of day.
#[derive(Debug, Clone)]
pub struct FilterState {
    /// The gauge at the last reading, bar.
    pub pressure: Option<f64>,
    /// The day of that reading.
    pub read_on: Option<NaiveDate>,
    /// The gauge when clean, bar.
    pub clean_pressure: Option<f64>,
    /// The last clean or renewal.
    pub last_clean: Option<NaiveDate>,
    /// How fast the pressure rises, bar a day.
    pub rise_per_day: Option<f64>,
    /// The rise at which it is to be cleaned, bar.
    pub rise_limit: Option<f64>,
    /// The day it reaches that limit, with the ends of the range.
    pub clean_by: Option<(NaiveDate, NaiveDate, NaiveDate)>,
    /// Whether that day is the end of a closed season, not one the pressure brings.
    pub on_reopening: bool,
    /// Rises of the last cycles between cleans, bar a day, the last first.
    pub past_rises: Vec<f64>,
    /// Days from a clean to the limit at the present rise, with the ends of the range.
    pub needs_every: Option<(f64, f64, f64)>,
    /// Days between cleans by the book.
    pub planned_every: Option<f64>,
    /// Turnover time on the day it is to be cleaned, min, if it is not cleaned before.
    pub turnover_then: Option<Figure>,
    /// The flow then, L/min.
    pub flow_then: Option<Figure>,
    /// The rise at which the water is turned over too slowly, bar, where that is known and comes before the limit.
    pub short_rise: Option<f64>,
    /// The day from which on it is, with the ends of the range.
    pub short_by: Option<(NaiveDate, NaiveDate, NaiveDate)>,
    /// How the pressure goes on; `None` where that is not known, or it does not rise.
    course: Option<Course>,
    /// The records it rests on.
    pub sources: Vec<Source>,
}

/// How a filter's pressure goes on from its last reading, or from a clean after it.
#[derive(Debug, Clone, Copy)]
struct Course {
    /// The day it stands at `risen`.
    from: NaiveDate,
    /// Above clean on that day, bar.
    risen: f64,
    /// Bar a day, with the slow and the fast end of the range.
    rise: f64,
    slow: f64,
    fast: f64,
    /// The day of the last reading.
    read_on: NaiveDate,
    /// The last clean: nothing was reached before it.
    cleaned: Option<NaiveDate>,
}

impl Course {
    /// The day the pressure has risen so far above clean, with the ends of the range, as if the site never closed.
    fn day_of(&self, risen: f64) -> Option<(NaiveDate, NaiveDate, NaiveDate)> {
        let day_at = |rate: f64| {
            let days = (risen - self.risen) / rate;
            (rate > NO_RISE && days.abs() < 3650.0).then(|| plus_days(self.from, days.round() as i64))
        };
        let expected = day_at(self.rise)?;
        let not_before = self.cleaned.unwrap_or(NaiveDate::MIN);
        if self.risen >= risen {
            // Behind us: the slower it rose the longer ago it was, and no later than it was seen.
            let seen = self.read_on.max(not_before);
            let within = |day: NaiveDate| day.max(not_before).min(seen);
            let ends = [day_at(self.fast), day_at(self.slow), Some(expected)].into_iter().flatten().map(within);
            let (early, late) =
                ends.fold((seen, not_before.min(seen)), |(low, high), day| (low.min(day), high.max(day)));
            return Some((within(expected), early, late));
        }
        let early = day_at(self.fast).map_or(expected, |day| day.max(not_before)).min(expected);
        let late = day_at(self.slow).unwrap_or_else(|| plus_days(expected, 365)).max(expected);
        Some((expected, early, late))
    }
}

/// Days from a clean to a rise, with the soonest and the latest: at the present rate and at the ends of its range, slow first.
fn days_to(risen: f64, (rise, slow, fast): (f64, f64, f64)) -> (f64, f64, f64) {
    let at = |rate: f64| if rate > NO_RISE { risen / rate } else { f64::INFINITY };
    (risen / rise, at(fast), at(slow))
}

impl FilterState {
    /// The rise at which it is to be cleaned, bar: the book's, or the one at which the water is turned over too slowly where
    /// that comes first.
    pub fn clean_at(&self) -> Option<f64> {
        [self.rise_limit, self.short_rise].into_iter().flatten().min_by(f64::total_cmp)
    }

    /// The day it is to be cleaned by, with the ends of the range: at the book's limit, or when the water is turned over too
    /// slowly where that comes first.
    pub fn clean_before(&self) -> Option<(NaiveDate, NaiveDate, NaiveDate)> {
        [self.clean_by, self.short_by].into_iter().flatten().min_by_key(|(day, _, _)| *day)
    }

    /// Notes from which rise on the water is turned over too slowly, where that is below the limit to clean at.
    pub fn short_at(&mut self, site: &Site, rise: f64) {
        let Some(course) = self.course.filter(|_| self.rise_limit.is_none_or(|limit| rise < limit)) else { return };
        self.short_rise = Some(rise);
        self.short_by = course.day_of(rise).map(|days| wait_for_seasons(site, course.read_on, days).0);
        self.needs_every = Some(days_to(rise, (course.rise, course.slow, course.fast)));
    }
}

/// Whether work at a filter left it as clean as it gets: a clean, or what it filters with renewed.
/// A new O-ring cleans nothing.
fn cleaned(entry: &Entry) -> bool {
    const FILTERS_WITH: [&str; 5] = ["cartridge", "media", "sand", "grid", "element"];
    entry.done.iter().any(|task| task.as_str() == "filter_clean")
        || entry.renewed.0.iter().any(|(part, _)| FILTERS_WITH.iter().any(|word| part.as_str().contains(word)))
}

/// The days a filter was cleaned or its cartridge renewed, in order.
pub fn cleans(site: &Site, at: &Address) -> Vec<NaiveDate> {
    let mut days: Vec<NaiveDate> =
        site.entries(at).filter(|(_, _, entry)| cleaned(entry)).map(|(_, visit, _)| visit.date.0).collect();
    days.sort_unstable();
    days.dedup();
    days
}

/// A reading of the gauge with what was clean then.
#[derive(Debug, Clone, Copy)]
struct Gauge {
    day: NaiveDate,
    after: bool,
    bar: f64,
    /// Above clean, bar; `None` where clean is not known.
    rise: Option<f64>,
}

/// All that is known of a filter's gauge, put in order once: a month's rise is asked for many times.
#[derive(Debug, Clone)]
pub struct History {
    cleans: Vec<NaiveDate>,
    gauges: Vec<Gauge>,
    clean_now: Option<f64>,
}

impl History {
    /// The history of a filter. At the days of `refits` the filtering pump gave way to another model: the
    /// gauge's clean reading of the old one says nothing of the new one.
    pub fn of(site: &Site, filter: &Filter, refits: &[NaiveDate]) -> Self {
        let cleans = cleans(site, &filter.at);
        let mut rows: Vec<&ReadingRow> = site.readings_of(&filter.at, Quantity::Pressure).collect();
        rows.sort_by_key(|row| (row.day, row.after));
        let mut clean = filter.clean_pressure.map(|p| p.0.get::<bar>());
        let mut refits = refits.iter().peekable();
        let mut gauges = Vec::with_capacity(rows.len());
        for row in rows {
            // Readings of the day itself are the old pump's, those after the work the new one's.
            while refits.next_if(|day| **day < row.day || (**day == row.day && row.after)).is_some() {
                clean = None;
            }
            if row.after && cleans.binary_search(&row.day).is_ok() {
                clean = Some(row.value);
            }
            let rise = clean.map(|clean| (row.value - clean).max(0.0));
            gauges.push(Gauge { day: row.day, after: row.after, bar: row.value, rise });
        }
        if refits.next().is_some() {
            clean = None;
        }
        Self { cleans, gauges, clean_now: clean }
    }

    /// The days it was cleaned, in order.
    pub fn cleans(&self) -> &[NaiveDate] {
        &self.cleans
    }

    /// The gauge when clean, as known now, bar.
    pub fn clean_pressure(&self) -> Option<f64> {
        self.clean_now
    }

    /// The rise above clean before a day's work, or after it, bar.
    pub fn rise_on(&self, day: NaiveDate, after: bool) -> Option<f64> {
        let until = self.gauges.partition_point(|g| (g.day, g.after) <= (day, after));
        let gauge = self.gauges[..until].last();
        // A clean since the reading leaves nothing of the rise.
        let known = if after { day } else { plus_days(day, -1) };
        let cleaned_since = self.cleans[..self.cleans.partition_point(|c| *c <= known)]
            .last()
            .is_some_and(|clean| gauge.is_none_or(|g| *clean > g.day || (*clean == g.day && !g.after)));
        if cleaned_since { Some(0.0) } else { gauge?.rise }
    }

    /// The rise above clean in a month, bar: the median of its readings, so that one written down wrong does not move it, else
    /// the last one before it.
    pub fn rise_in(&self, month: Month) -> Option<f64> {
        let from = self.gauges.partition_point(|g| g.day < month.first());
        let to = self.gauges.partition_point(|g| g.day <= month.last());
        let mut rises: Vec<f64> = self.gauges[from..to].iter().filter_map(|g| g.rise).collect();
        robust_slope::median(&mut rises).or_else(|| self.rise_on(month.last(), true))
    }

    /// The readings from one clean to the next as days since the clean and bar.
    fn cycle(&self, clean: NaiveDate, until: Option<NaiveDate>) -> Vec<(f64, f64)> {
        self.gauges
            .iter()
            .filter(|g| g.day > clean || (g.day == clean && g.after))
            .filter(|g| until.is_none_or(|until| g.day < until || (g.day == until && !g.after)))
            .map(|g| (days_between(clean, g.day) as f64, g.bar))
            .collect()
    }

    /// The line of a cycle, if it is long enough to say something.
    fn line(&self, clean: NaiveDate, until: Option<NaiveDate>) -> Option<Line> {
        let points = self.cycle(clean, until);
        let span = points.last()?.0 - points.first()?.0;
        robust_slope::line(&points).filter(|_| span >= LEAST_DAYS).map(|line| {
            // Few readings cannot say how far off they are; how well a gauge is read can.
            let reading = READ_WITHIN_BAR * std::f64::consts::SQRT_2 / span;
            Line {
                slope_low: line.slope_low.min(line.slope - reading),
                slope_high: line.slope_high.max(line.slope + reading),
                ..line
            }
        })
    }
}

/// The histories of a spa's filters, in their order.
pub fn histories(fleet: &Fleet, site: &Site, spa: &Spa) -> Vec<History> {
    let mut refits: Vec<NaiveDate> = Vec::new();
    for pump in spa.pumps.iter().filter(|pump| !pump.filters_at.is_empty()) {
        let models = fleet.models_at(site, pump);
        for pair in models.windows(2) {
            let same = pair[0].1.zip(pair[1].1).is_some_and(|(a, b)| std::ptr::eq(a, b));
            if !same {
                refits.push(pair[1].0);
            }
        }
    }
    refits.sort_unstable();
    spa.filters.iter().map(|filter| History::of(site, filter, &refits)).collect()
}

/// Days without which a rise says nothing.
const LEAST_DAYS: f64 = 4.0;
/// Cycles between cleans that are looked at.
const CYCLES: usize = 4;
/// How well a gauge is read, bar. Assumed.
pub const READ_WITHIN_BAR: f64 = 0.01;
/// Readings since the last clean from which they alone give the rise.
const ENOUGH_READINGS: usize = 5;
/// Rises under this are none, bar a day.
const NO_RISE: f64 = 1e-6;

/// The filter at the as-of day. `turnover_then` is left to whoever knows the pump.
pub fn state(fleet: &Fleet, site: &Site, filter: &Filter, history: &History) -> FilterState {
    let last = history.gauges.last().copied();
    let tasks = || fleet.book.tasks.iter().filter(|(_, task)| task.fits.as_str() == "filter").map(|(_, task)| task);
    let limit = tasks().find_map(|task| task.or_pressure_rise).map(|p| p.0.get::<bar>());
    let planned = tasks().find(|task| task.or_pressure_rise.is_some()).and_then(|task| match task.every {
        Some(Every::Period(period)) => Some(period.mean_days()),
        _ => task.at_most.map(crate::units::Period::mean_days),
    });
    let mut state = FilterState {
        pressure: last.map(|g| g.bar),
        read_on: last.map(|g| g.day),
        clean_pressure: history.clean_pressure(),
        last_clean: history.cleans.last().copied(),
        rise_per_day: None,
        rise_limit: limit,
        clean_by: None,
        on_reopening: false,
        past_rises: Vec::new(),
        needs_every: None,
        planned_every: planned,
        turnover_then: None,
        flow_then: None,
        short_rise: None,
        short_by: None,
        course: None,
        sources: site
            .readings_of(&filter.at, Quantity::Pressure)
            .last()
            .map(|row| row.source(site, &filter.at))
            .into_iter()
            .collect(),
    };
    let mut current = None;
    let mut past = Vec::new();
    for (index, clean) in history.cleans.iter().enumerate().rev() {
        let until = history.cleans.get(index + 1).copied();
        let line = history.line(*clean, until);
        match until {
            None => current = line,
            Some(_) => past.extend(line.map(|line| line.slope)),
        }
        if past.len() + usize::from(current.is_some()) == CYCLES {
            break;
        }
    }
    if history.cleans.is_empty()
        && let Some(first) = history.gauges.first()
    {
        // Never cleaned on record: all readings are one cycle.
        current = history.line(plus_days(first.day, -1), None);
    }
    state.past_rises = current.iter().map(|line| line.slope).chain(past.iter().copied()).collect();
    let Some((rise, slow, fast)) = rate(current.as_ref(), &past) else { return state };
    state.rise_per_day = Some(rise);
    let (Some(limit), true) = (limit, rise > NO_RISE) else { return state };
    state.needs_every = Some(days_to(limit, (rise, slow, fast)));
    let (Some(clean), Some(gauge)) = (state.clean_pressure, last) else { return state };
    // Since the last reading, or since a clean after it.
    let (from, risen) = match state.last_clean {
        Some(day) if day > gauge.day || (day == gauge.day && !gauge.after) => (day, 0.0),
        _ => {
            let since = state.last_clean.map_or(0.0, |day| days_between(day, gauge.day) as f64);
            // Of several readings the line says better than the last one where the gauge stands.
            let on_line =
                current.filter(|c| c.points >= 3 && state.last_clean.is_some()).map(|c| c.at_zero + c.slope * since);
            (gauge.day, on_line.unwrap_or(gauge.bar) - clean)
        }
    };
    let course = Course { from, risen, rise, slow, fast, read_on: gauge.day, cleaned: state.last_clean };
    state.course = Some(course);
    if let Some(days) = course.day_of(limit) {
        let (days, on_reopening) = wait_for_seasons(site, gauge.day, days);
        (state.clean_by, state.on_reopening) = (Some(days), on_reopening);
    }
    state
}

/// Nothing fouls while the site is closed: a day that falls into a closed season, or behind one for which the water is let
/// out, waits for its end. After a season with the water left in, the days closed are added. Whether it waits for the end.
fn wait_for_seasons(
    site: &Site,
    read_on: NaiveDate,
    mut days: (NaiveDate, NaiveDate, NaiveDate),
) -> ((NaiveDate, NaiveDate, NaiveDate), bool) {
    let mut on_reopening = false;
    let mut seasons: Vec<_> = site.closed.iter().filter(|season| season.from > read_on).collect();
    seasons.sort_by_key(|season| season.from);
    for season in seasons {
        let (expected, early, late) = days;
        if expected < season.from {
            continue;
        }
        let reopening = plus_days(season.to, 1);
        if season.drained || expected <= season.to {
            days = (reopening, reopening, reopening);
            on_reopening = true;
        } else {
            let closed = days_between(season.from, reopening);
            let moved = |day: NaiveDate| if day < season.from { day } else { plus_days(day, closed) };
            days = (moved(expected), moved(early), moved(late));
        }
    }
    (days, on_reopening)
}

/// The present rise with its range: of the readings since the last clean where they are many, else of
/// them and the cycles before.
fn rate(current: Option<&Line>, past: &[f64]) -> Option<(f64, f64, f64)> {
    let mut sorted = past.to_vec();
    let typical = robust_slope::median(&mut sorted);
    let spread = sorted.first().copied().zip(sorted.last().copied());
    match (current, typical, spread) {
        (Some(line), _, None) => Some((line.slope, line.slope_low, line.slope_high)),
        (Some(line), _, Some(_)) if line.points >= ENOUGH_READINGS => {
            Some((line.slope, line.slope_low, line.slope_high))
        }
        (Some(line), _, Some((low, high))) => Some((line.slope, line.slope_low.min(low), line.slope_high.max(high))),
        // A cycle is never quite like the ones before: a tenth on both sides.
        (None, Some(typical), Some((low, high))) => Some((typical, low * 0.9, high * 1.1)),
        (None, _, _) => None,
    }
}

#[cfg(test)]
mod tests;
