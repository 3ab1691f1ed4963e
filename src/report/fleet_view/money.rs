//! What the fleet's pumps used and failed, this year beside the last, and what the planned work will cost.

use std::collections::{BTreeMap, BTreeSet};

use rust_decimal::Decimal;

use super::{Given, Money, MoneyLine, PlannedLine, change};
use crate::calendar::Month;
use crate::costs::spent::{self, Done};
use crate::quantities::expected_failures::Tally;
use crate::report::format;

/// Kinds of planned work in the table; the others are summed.
const KINDS: usize = 16;

/// A sum over pumps, and of how many it is not known.
#[derive(Default, Clone, Copy)]
struct Sum {
    value: f64,
    unknown: usize,
}

pub(super) fn money(given: &Given) -> Money {
    let month = given.figures.month;
    let year = (month.plus(-11), month);
    let before = (month.plus(-23), month.plus(-12));
    let energy = [energy(given, year), energy(given, before)];
    let failures = [failures(given, year), failures(given, before)];
    let mut lines = vec![
        line(
            &format!("Energy of the pumps, {}", format::currency_sign(given.currency())),
            [energy[0].1.value, energy[1].1.value],
            energy[0].1.unknown,
        ),
        line("Energy of the pumps, kWh", [energy[0].0.value, energy[1].0.value], energy[0].0.unknown),
        line("Run hours of the pumps", [energy[0].2, energy[1].2], 0),
        line("Failures of pumps", [failures[0] as f64, failures[1] as f64], 0),
    ];
    let of_months = |(from, to)| spent::months(given.figures.fleet, &given.figures.sites, from, to);
    let work = [of_months(year), of_months(before)];
    if let [Some(now), Some(then)] = &work {
        let unknown = now.without_amount as usize;
        let of = |what: &str, pick: fn(&Done) -> f64| {
            line(&format!("{what}, {}", given.currency()), [pick(now), pick(then)], unknown)
        };
        lines.insert(0, of("Visits and parts at our cost", |done| done.work + done.parts));
        lines.insert(1, of("of it work and ways", |done| done.work));
        lines.insert(2, of("of it parts and pumps", |done| done.parts));
        lines.insert(3, of("of it call-outs", |done| done.callouts));
    }
    let mut tally = Tally::default();
    let outlooks = given.figures.sites.iter().flat_map(|site| &site.pumps_to_come).filter_map(|(_, o)| o.as_ref());
    let mut known = 0;
    for outlook in outlooks {
        tally.add(&outlook.tally);
        known += 1;
    }
    let (planned, planned_total, without_price) = planned(given);
    let mut summary = format!(
        "In the 12 months to {} the pumps used {} kWh for {}, {} against the 12 months before.",
        month.in_words(),
        format::number(energy[0].0.value, 0),
        amount(given, energy[0].1.value),
        change(energy[1].1.value, energy[0].1.value)
    );
    if energy[1].1.value <= 0.0 {
        summary = format!(
            "In the 12 months to {} the pumps used {} kWh for {}; there is no year before to compare with.",
            month.in_words(),
            format::number(energy[0].0.value, 0),
            amount(given, energy[0].1.value)
        );
    }
    if let [Some(now), Some(then)] = &work {
        let (now, then) = (now.work + now.parts, then.work + then.parts);
        summary.push_str(&format!(" Visits and their parts cost us {}, {}.", amount(given, now), change(then, now)));
    }
    if known > 0 {
        let expected = tally.expected(given.figures.lives);
        summary.push_str(&format!(
            " In the coming 12 months {} failures of pumps are expected ({} to {}); there were {} in the last.",
            format::number(expected.expected, 1),
            format::number(expected.low, 0),
            format::number(expected.high, 0),
            failures[0]
        ));
    }
    let mut note =
        "The pumps' energy only: heating, air and lights are not in it. Planned work is wear parts and tasks \
                    as they fall due, with labour, without failures and without the way there."
            .to_owned();
    if without_price > 0 {
        note.push_str(&format!(" {without_price} lines of work have no price in the book and are not in the sum."));
    }
    if let [Some(now), _] = &work
        && now.without_amount > 0
    {
        note.push_str(&match now.without_amount {
            1 => " One record of a visit has no hours or no price and is not in what visits cost.".to_owned(),
            many => format!(" {many} records of visits have no hours or no price and are not in what visits cost."),
        });
    }
    if energy[0].1.unknown > 0 {
        note.push_str(&format!(" The energy of {} speeds of pumps is not known.", energy[0].1.unknown));
    }
    Money {
        summary,
        currency: format::currency_sign(given.currency()).to_owned(),
        years: [format!("to {}", month.in_words()), format!("to {}", before.1.in_words())],
        lines,
        planned,
        planned_total,
        note,
    }
}

fn amount(given: &Given, value: f64) -> String {
    Decimal::try_from(value).map_or_else(|_| "–".to_owned(), |value| format::money_whole(value, given.currency()))
}

fn line(what: &str, [year, before]: [f64; 2], unknown: usize) -> MoneyLine {
    MoneyLine {
        what: if unknown > 0 { format!("{what} (in part)") } else { what.to_owned() },
        year: format::number(year, 0),
        before: format::number(before, 0),
        change: change(before, year),
    }
}

/// Energy, its cost, and hours of all pumps in some months.
fn energy(given: &Given, (from, to): (Month, Month)) -> (Sum, Sum, f64) {
    let (mut energy, mut cost, mut hours) = (Sum::default(), Sum::default(), 0.0);
    for pump in given.figures.sites.iter().flat_map(|site| site.spas).flat_map(|spa| &spa.pumps) {
        for curve in pump.hours.iter().flat_map(|h| &h.curves) {
            let months = pump.hours.iter().flat_map(|h| &h.months);
            let mut known = [true; 2];
            for row in months.filter(|m| m.speed == curve.speed && m.month >= from && m.month <= to) {
                for (index, (sum, value)) in
                    [(&mut energy, row.energy_kwh), (&mut cost, row.energy_cost)].into_iter().enumerate()
                {
                    match value {
                        Some(value) => sum.value += value,
                        None => known[index] = false,
                    }
                }
                hours += row.hours.unwrap_or(0.0);
            }
            energy.unknown += usize::from(!known[0]);
            cost.unknown += usize::from(!known[1]);
        }
    }
    (energy, cost, hours)
}

fn failures(given: &Given, (from, to): (Month, Month)) -> usize {
    given
        .figures
        .sites
        .iter()
        .flat_map(|site| site.spas)
        .flat_map(|spa| &spa.pumps)
        .flat_map(|pump| pump.failures.of_all_units())
        .filter(|incident| incident.day >= from.first() && incident.day <= to.last())
        .count()
}

/// The planned work by kind, its sum, and how many lines have no price.
fn planned(given: &Given) -> (Vec<PlannedLine>, String, usize) {
    #[derive(Default)]
    struct Kind<'a> {
        times: u32,
        sites: BTreeSet<&'a str>,
        amount: Option<Decimal>,
    }
    let mut kinds: BTreeMap<(&str, bool), Kind> = BTreeMap::new();
    let mut without_price = 0;
    let mut total = Decimal::ZERO;
    for site in &given.figures.sites {
        without_price += site.year.without_price;
        total += site.year.total;
        for line in &site.year.lines {
            let kind = kinds.entry((&line.what, line.is_task)).or_default();
            kind.times += line.times;
            kind.sites.insert(site.site.id.as_str());
            if let Some(amount) = line.amount {
                kind.amount = Some(kind.amount.unwrap_or_default() + amount);
            }
        }
    }
    let mut sorted: Vec<_> = kinds.into_iter().collect();
    sorted.sort_by(|a, b| b.1.amount.cmp(&a.1.amount).then(a.0.cmp(&b.0)));
    let money = |amount: Option<Decimal>| amount.map_or("–".to_owned(), |a| format::money(a, given.currency()));
    let any_price = sorted.iter().any(|(_, kind)| kind.amount.is_some());
    let rest = sorted.split_off(sorted.len().min(KINDS));
    let mut rows: Vec<PlannedLine> = sorted
        .iter()
        .map(|((what, is_task), kind)| PlannedLine {
            what: if *is_task {
                format::sentence(&format::words(what))
            } else {
                format!("Renew {}", format::words(what))
            },
            times: format::number(kind.times.into(), 0),
            sites: kind.sites.len().to_string(),
            amount: money(kind.amount),
        })
        .collect();
    if !rest.is_empty() {
        let sites: BTreeSet<&str> = rest.iter().flat_map(|(_, kind)| kind.sites.iter().copied()).collect();
        rows.push(PlannedLine {
            what: format!("{} other kinds", rest.len()),
            times: format::number(rest.iter().map(|(_, kind)| kind.times).sum::<u32>().into(), 0),
            sites: sites.len().to_string(),
            amount: money(rest.iter().filter_map(|(_, kind)| kind.amount).reduce(|a, b| a + b)),
        });
    }
    // With no price at all there is no sum either.
    let total = match (rows.is_empty(), any_price) {
        (true, _) => String::new(),
        (false, false) => "–".to_owned(),
        (false, true) => format::money(total, given.currency()),
    };
    (rows, total, without_price)
}
