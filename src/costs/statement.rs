//! What did a customer's month come to? The work of its visits priced line by line, what the contract covers, what is
//! charged, and the tax.
//!
//! Money falls in the month the work is done, at the price in force that day; each line is rounded half away from zero to
//! the currency's minor unit, the total is the sum of the lines, and tax comes last. A line whose price or quantity is not
//! in the records is listed without an amount and counted, never guessed. Nothing here knows what anything costs us.

use chrono::Datelike;
use rust_decimal::Decimal;
use uom::si::time::hour;

use crate::address::{Address, Id};
use crate::calendar::{Month, days_between};
use crate::costs::contract::{Covered, Terms, is_out_of_hours};
use crate::costs::rounded;
use crate::records::customers::Customer;
use crate::records::forms::Reported;
use crate::records::log::{Because, Entry, Visit, Why};
use crate::records::{Fleet, Site};

/// A customer's month.
#[derive(Debug, Clone)]
pub struct Statement<'a> {
    /// The customer.
    pub id: &'a Id,
    /// Its record.
    pub customer: &'a Customer,
    /// The month.
    pub month: Month,
    /// The visits of the month, by day, then site.
    pub visits: Vec<VisitDone<'a>>,
    /// What all of it comes to.
    pub sums: Sums,
}

/// What the lines add up to.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Sums {
    /// The lines the contract covers.
    pub covered: Decimal,
    /// The lines that are charged.
    pub charged: Decimal,
    /// The tax on what is charged; `None` = the fleet states none.
    pub tax: Option<Decimal>,
    /// What is to pay: charged and tax.
    pub to_pay: Decimal,
    /// Charged lines without an amount.
    pub without_amount: usize,
}

/// A visit with its lines.
#[derive(Debug, Clone)]
pub struct VisitDone<'a> {
    /// The site.
    pub site: &'a Site,
    /// The visit's record.
    pub visit: &'a Visit,
    /// Whether it was a call-out outside working hours.
    pub out_of_hours: bool,
    /// How the promised response was kept, of a call-out.
    pub response: Option<Response>,
    /// Its lines.
    pub lines: Vec<Line>,
}

/// How a call was answered.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Response {
    /// The hours promised; `None` = nothing was.
    pub promised_hours: Option<f64>,
    /// When the call came; `None` = not written.
    pub reported: Option<Reported>,
    /// Hours from the call until somebody was there; `None` = not known to the hour.
    pub hours: Option<f64>,
    /// Whether the promise was kept.
    pub kept: Kept,
}

/// Whether a promised response was kept.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kept {
    /// It was, whatever hours are not written.
    Yes,
    /// It was not, whatever hours are not written.
    No,
    /// It depends on an hour that is not written.
    Unknown,
    /// Nothing was promised.
    NotPromised,
}

/// What a line is of.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum What {
    /// Hours of work.
    Labour,
    /// The call-out itself.
    CallOut,
    /// Pieces of a part of the book.
    Part(Id),
    /// Pieces with a number the book does not have.
    Piece(String),
    /// A pump, by its model.
    Pump(Option<String>),
}

/// A line.
#[derive(Debug, Clone, PartialEq)]
pub struct Line {
    /// Of what.
    pub what: What,
    /// How many hours or pieces; `None` = not written.
    pub quantity: Option<Decimal>,
    /// The price of one, in force on the day; `None` = not written.
    pub each: Option<Decimal>,
    /// Quantity times price, rounded.
    pub amount: Option<Decimal>,
    /// Whether the contract covers it.
    pub covered: Covered,
}

/// The month of a customer. `sites` are the customer's, sorted by id.
pub fn statement<'a>(
    fleet: &Fleet,
    id: &'a Id,
    customer: &'a Customer,
    sites: &[&'a Site],
    month: Month,
) -> Statement<'a> {
    let mut visits: Vec<VisitDone> = Vec::new();
    for site in sites {
        for (_, visit) in site.visits.iter().filter(|(_, visit)| Month::of(visit.date.0) == month) {
            let number = callouts_before(sites, site, visit) + 1;
            visits.push(visit_done(fleet, customer, site, visit, number));
        }
    }
    visits.sort_by(|a, b| {
        let key = |v: &VisitDone| (v.visit.date.0, v.visit.time.map(|t| t.start));
        key(a).cmp(&key(b)).then_with(|| a.site.id.cmp(&b.site.id))
    });
    let sums = sums(fleet, visits.iter().flat_map(|visit| &visit.lines));
    Statement { id, customer, month, visits, sums }
}

/// Adds lines up, tax last.
pub fn sums<'a>(fleet: &Fleet, lines: impl Iterator<Item = &'a Line>) -> Sums {
    let mut sums =
        Sums { covered: Decimal::ZERO, charged: Decimal::ZERO, tax: None, to_pay: Decimal::ZERO, without_amount: 0 };
    for line in lines {
        match (line.amount, line.covered) {
            (Some(amount), Covered::ByContract) => sums.covered += amount,
            (Some(amount), Covered::Charged(_)) => sums.charged += amount,
            (None, Covered::Charged(_)) => sums.without_amount += 1,
            (None, Covered::ByContract) => {}
        }
    }
    sums.tax = tax(fleet, sums.charged);
    sums.to_pay = sums.charged + sums.tax.unwrap_or_default();
    sums
}

/// The tax on an amount, rounded; `None` = the fleet states no tax.
pub fn tax(fleet: &Fleet, amount: Decimal) -> Option<Decimal> {
    let rate = Decimal::try_from(fleet.settings.tax.as_ref()?.rate.0).ok()?;
    Some(rounded(amount * rate, &fleet.settings.currency.0))
}

/// Call-outs of the calendar year before this one, over all sites of the contract.
fn callouts_before(sites: &[&Site], site: &Site, visit: &Visit) -> u32 {
    let when = |site: &Site, visit: &Visit| (visit.date.0, visit.time.map(|t| t.start), site.id.clone());
    let this = when(site, visit);
    let earlier = |(one, other): (&Site, &Visit)| {
        other.why == Some(Why::Callout) && other.date.0.year() == visit.date.0.year() && when(one, other) < this
    };
    let all = sites.iter().flat_map(|site| site.visits.iter().map(move |(_, visit)| (*site, visit)));
    all.filter(|pair| earlier(*pair)).count() as u32
}

fn visit_done<'a>(
    fleet: &Fleet,
    customer: &'a Customer,
    site: &'a Site,
    visit: &'a Visit,
    number: u32,
) -> VisitDone<'a> {
    let day = visit.date.0;
    let terms = Terms::on(Some(customer), day);
    let is_callout = visit.why == Some(Why::Callout);
    let out_of_hours = is_callout && is_out_of_hours(fleet, visit);
    let work = terms.work(visit.why, number);
    let currency = &fleet.settings.currency.0;
    let line = |what: What, quantity: Option<Decimal>, each: Option<Decimal>, covered: Covered| {
        let amount = quantity.zip(each).map(|(quantity, each)| rounded(quantity * each, currency));
        Line { what, quantity, each, amount, covered }
    };
    let labour = &fleet.settings.labour;
    let mut lines = Vec::new();
    if is_callout {
        let each = labour.callout.as_ref().and_then(|charge| charge.on(day)).map(|money| money.0);
        lines.push(line(What::CallOut, Some(Decimal::ONE), each, work));
    }
    let each = labour.charge.as_ref().and_then(|charge| charge.on(day)).map(|money| {
        let factor = labour.out_of_hours.filter(|_| out_of_hours).and_then(|f| Decimal::try_from(f.0).ok());
        rounded(money.0 * factor.unwrap_or(Decimal::ONE), currency)
    });
    lines.push(line(What::Labour, hours_of(visit), each, work));
    for (what, quantity, because) in pieces(fleet, site, visit) {
        let sell = match &what {
            What::Part(id) => fleet.book.parts.get(id).and_then(|part| part.sell.as_ref()),
            What::Pump(Some(model)) => fleet.models.get(model).and_then(|model| model.sell.as_ref()),
            _ => None,
        };
        let each = sell.and_then(|sell| sell.on(day)).map(|money| money.0);
        lines.push(line(what, Some(quantity), each, terms.part(because)));
    }
    let response = is_callout.then(|| response(terms, visit));
    VisitDone { site, visit, out_of_hours, response, lines }
}

/// The hours worked: as written, else the time of the visit from start to end.
pub fn hours_of(visit: &Visit) -> Option<Decimal> {
    if let Some(labour) = visit.labour.and_then(|labour| labour.with_default("h")) {
        return Decimal::try_from(labour.0.get::<hour>()).ok().map(|hours| hours.round_dp(4));
    }
    let minutes = visit.time?.lasts()?;
    Some((Decimal::from(minutes) / Decimal::from(60)).round_dp(4))
}

/// The pieces a visit used, each with why: those written under `used`, else what the book says the renewals took; and
/// the pumps exchanged.
pub fn pieces(fleet: &Fleet, site: &Site, visit: &Visit) -> Vec<(What, Decimal, Because)> {
    let mut result: Vec<(What, Decimal, Because)> = Vec::new();
    if visit.used.0.is_empty() {
        for (_, entry) in visit.at.iter() {
            let mut taken: Vec<&Id> = Vec::new();
            for (id, renewal) in &entry.renewed.0 {
                let Some(part) = fleet.book.parts.get(id) else { continue };
                let also = part.also_renew.iter().map(|also| (also, also_because(renewal.because)));
                for (id, because) in std::iter::once((id, renewal.because)).chain(also) {
                    let Some(part) = fleet.book.parts.get(id).filter(|_| !taken.contains(&id)) else { continue };
                    taken.push(id);
                    result.push((What::Part(id.clone()), Decimal::from(part.count.unwrap_or(1)), because));
                }
            }
        }
    }
    for (number, quantity) in visit.used.iter() {
        let Ok(quantity) = Decimal::try_from(quantity.0) else { continue };
        let part = fleet
            .book
            .parts
            .iter()
            .find(|(id, part)| part.number.as_ref().is_some_and(|of| of.0 == number.0) || id.as_str() == number.0);
        let exchanged = |(_, entry): &(Address, Entry)| {
            entry.exchanged.as_ref().and_then(|exchange| exchange.model.as_ref()).is_some_and(|model| *model == *number)
        };
        let (what, because) = match part {
            Some((id, _)) => (What::Part(id.clone()), because_of(fleet, visit, id)),
            // The pump that was put in, which stands among the exchanges.
            None if visit.at.iter().any(exchanged) => continue,
            None if fleet.models.contains_key(&number.0) => (What::Pump(Some(number.0.clone())), usual_because(visit)),
            None => (What::Piece(number.0.clone()), usual_because(visit)),
        };
        result.push((what, quantity, because));
    }
    for (at, entry) in visit.at.iter() {
        let Some(exchange) = &entry.exchanged else { continue };
        let model = exchange.model.as_ref().map(|name| name.0.clone()).or_else(|| model_of(site, at));
        result.push((What::Pump(model), Decimal::ONE, exchange.because));
    }
    result
}

fn model_of(site: &Site, at: &Address) -> Option<String> {
    let pump = site.spas.iter().flat_map(|spa| &spa.pumps).find(|pump| pump.at == *at)?;
    crate::quantities::run_hours::model_now(site, pump)
}

/// Why what is renewed together with a part is renewed: with a failed or due one while there, with a damaged one for it.
fn also_because(because: Because) -> Because {
    match because {
        Because::Damage | Because::Request => because,
        Because::Failure | Because::Due | Because::WhileThere => Because::WhileThere,
    }
}

/// Why pieces of a part were used at a visit, from its renewals.
fn because_of(fleet: &Fleet, visit: &Visit, id: &Id) -> Because {
    let entries = || visit.at.iter().map(|(_, entry): &(Address, Entry)| entry);
    let renewed = entries().find_map(|entry| Some(entry.renewed.0.iter().find(|(of, _)| of == id)?.1.because));
    let together = || {
        entries().flat_map(|entry| &entry.renewed.0).find_map(|(of, renewal)| {
            let part = fleet.book.parts.get(of)?;
            part.also_renew.contains(id).then(|| also_because(renewal.because))
        })
    };
    renewed.or_else(together).unwrap_or_else(|| usual_because(visit))
}

fn usual_because(visit: &Visit) -> Because {
    if visit.why == Some(Why::Callout) { Because::Failure } else { Because::Due }
}

/// How a call was answered. With the times of the call and of the visit the hours between are known; else by the earliest
/// and the latest that each can have been.
fn response(terms: Terms, visit: &Visit) -> Response {
    let promised = terms.response_hours();
    let reported = visit.reported.filter(|reported| reported.day <= visit.date.0);
    let bounds = reported.map(|reported| {
        let days = days_between(reported.day, visit.date.0) as f64 * 24.0;
        let within = |minute: Option<u32>| minute.map_or((0.0, 24.0), |m| (f64::from(m) / 60.0, f64::from(m) / 60.0));
        let (called, there) = (within(reported.minute), within(visit.time.map(|time| time.start)));
        (days + there.0 - called.1, days + there.1 - called.0)
    });
    // Nobody can be there before the call: one of the two times is wrong.
    let bounds = bounds.filter(|(_, longest)| *longest >= 0.0);
    let kept = match (promised, bounds) {
        (None, _) => Kept::NotPromised,
        (Some(promised), Some((_, longest))) if longest <= promised => Kept::Yes,
        (Some(promised), Some((shortest, _))) if shortest > promised => Kept::No,
        (Some(_), _) => Kept::Unknown,
    };
    let hours = bounds.filter(|(shortest, longest)| shortest == longest).map(|(hours, _)| hours);
    Response { promised_hours: promised, reported, hours, kept }
}

#[cfg(test)]
mod tests;
