//! Which of today's work was promised for which day, and which promised visits still stand.
//!
//! A visit stands while most of its minutes can be worked on its day. Where what has been recorded since leaves less than that,
//! the rest goes along with what moves: customers were promised one visit, not two.

use chrono::NaiveDate;

use crate::calendar::{days_between, plus_days};
use crate::records::Fleet;
use crate::schedule::visits::chains::Chains;
use crate::schedule::visits::diary::{Diary, Technician};
use crate::schedule::visits::fleet::SiteWork;
use crate::schedule::visits::kept::{self, Accepted};
use crate::schedule::visits::one_site::Node;
use crate::schedule::visits::work::SiteItems;
use crate::site::SiteFigures;

/// A promised visit: its day, who comes, and which items are done.
struct Promised {
    day: usize,
    person: usize,
    items: Vec<usize>,
}

/// How often is looked which visits still stand: what goes along with one may take the most of another with it.
const LOOKS: usize = 4;

/// Anybody of the fleet, as one person: the longest day of all, and every skill.
pub(super) fn anybody(people: &[Technician], days: usize) -> Diary {
    let longest = |day: usize| people.iter().map(|person| person.minutes[day]).max().unwrap_or(0);
    let skills = people.iter().fold(0, |all, person| all | person.skills);
    Diary::new(vec![Technician { minutes: (0..days).map(longest).collect(), skills }], days)
}

/// Notes on the work which days it was promised for; the visits to keep room for are added to the site's: day, who, minutes.
pub(super) fn promise(
    fleet: &Fleet,
    figures: &SiteFigures,
    accepted: Accepted,
    (all, work): (&mut SiteItems, &mut SiteWork),
    (start, days): (NaiveDate, usize),
    anybody: &Diary,
) {
    let mut promised = noted(fleet, figures, accepted, all, (start, days));
    let mut nodes: Vec<Node> = Vec::new();
    anybody.nodes(&work.way, |day| work.open(day), |_| None, &mut nodes);
    for _ in 0..LOOKS {
        work.chains = all.items.iter().map(|item| item.chain.clone()).collect();
        for node in &mut nodes {
            let made = promised.iter().any(|visit| visit.day == node.day);
            node.cost = if made { 0.0 } else { work.way.cost };
        }
        // The site by itself says well enough which day each thing comes to.
        let asked = Chains { most_steps: 1, hasty: true, ..work.asked(start, days, &work.chains) };
        let year = asked.plan(&nodes, &[]);
        let (standing, moving): (Vec<Promised>, Vec<Promised>) = promised.into_iter().partition(|visit| {
            let stays = |item: &usize| year.done.iter().any(|done| done.chain == *item && done.day == visit.day);
            let (staying, lost): (Vec<usize>, Vec<usize>) = visit.items.iter().partition(|item| stays(item));
            let minutes = |items: Vec<usize>| items.into_iter().map(|item| all.items[item].minutes).sum::<u32>();
            minutes(staying) > minutes(lost)
        });
        for visit in &moving {
            for item in &visit.items {
                let chain = &mut all.items[*item].chain;
                chain.promised.retain(|day| *day != visit.day);
                chain.promised_first = chain.promised_first.filter(|day| *day != visit.day);
            }
        }
        promised = standing;
        if moving.is_empty() {
            break;
        }
    }
    work.chains = all.items.iter().map(|item| item.chain.clone()).collect();
    let minutes = |visit: &Promised| visit.items.iter().map(|item| all.items[*item].minutes).sum::<u32>();
    work.promised = promised.iter().map(|visit| (visit.day, visit.person, minutes(visit))).collect();
}

/// Notes every promised day on the chains it is for.
fn noted(
    fleet: &Fleet,
    figures: &SiteFigures,
    accepted: Accepted,
    all: &mut SiteItems,
    (start, days): (NaiveDate, usize),
) -> Vec<Promised> {
    let mut promised = Vec::new();
    for visit in accepted.kept(&figures.site.id) {
        let person = match &visit.technician {
            None => fleet.settings.technicians.0.is_empty().then_some(0),
            Some(id) => fleet.settings.technicians.iter().position(|(known, _)| known == id),
        };
        let (Some(person), Ok(day)) = (person, usize::try_from(days_between(start, visit.date.0))) else { continue };
        if day >= days {
            continue;
        }
        let mut items = Vec::new();
        for (at, work, line_due) in kept::promised_lines(visit) {
            for (index, item) in all.items.iter_mut().enumerate().filter(|(_, i)| i.at == *at && i.work == work) {
                // What comes once belongs to the day within its window; what recurs, to any.
                let (first, due) = (item.chain.first as i64, item.chain.due);
                if item.chain.again.is_some() || due < 0 || (first..=due).contains(&(day as i64)) {
                    item.chain.promised.push(day);
                    if line_due == Some(plus_days(start, due)) && item.chain.promised_first.is_none() {
                        item.chain.promised_first = Some(day);
                    }
                    items.push(index);
                }
            }
        }
        promised.push(Promised { day, person, items });
    }
    promised
}
