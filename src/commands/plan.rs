//! `tubwright plan`: the year's visits to standard output; accepted, they are written to `plan.yaml`.

use std::collections::BTreeMap;

use crate::calendar::{self, Month, plus_days};
use crate::cli::Plan as Arguments;
use crate::commands::{Failure, load};
use crate::diagnostic::Diagnostic;
use crate::interrupt::Stop;
use crate::output;
use crate::printer::{Printer, count};
use crate::report::format;
use crate::schedule::visits::{self, Plan, kept};
use crate::site::{self, AllRead};

/// Plans: status 0, 1 where a site or a record was left out, 2 where nothing could be planned.
///
/// # Errors
/// If the folder is no fleet, `plan.yaml` cannot be written, or the run was asked to end.
pub fn run(arguments: &Arguments, printer: Printer, stop: &Stop) -> Result<u8, Failure> {
    let Some(shared) = load(&arguments.fleet, printer)? else { return Ok(2) };
    let today = || calendar::today(shared.fleet.settings.timezone.0);
    let as_of = match (arguments.as_of, arguments.month) {
        (Some(day), _) => day,
        (None, Some(month)) => month.last(),
        (None, None) if arguments.week => plus_days(today(), -1),
        (None, None) => Month::of(today()).plus(-1).last(),
    };
    let AllRead { sites, lost } = site::read_all(&shared, as_of, stop)?;
    let mut diagnostics = shared.diagnostics.clone();
    diagnostics.extend(sites.iter().flat_map(|(site, _)| site.diagnostics.iter().cloned()));
    diagnostics.extend(lost.into_iter().flat_map(|(_, found)| found));
    diagnostics.sort_by_cached_key(Diagnostic::order);
    printer.diagnostics(&diagnostics);
    stop.check()?;
    let lives = site::fleet_lives(&shared.fleet, &sites, as_of);
    let figures = site::all_figures(&shared.fleet, &lives, &sites, as_of);
    let plan = visits::plan_with_bound(&shared.fleet, &figures, as_of, arguments.week, stop)?;
    let shown = if arguments.week { Some(plus_days(as_of, kept::WEEK_DAYS)) } else { None };
    tell(&plan, shown, shared.fleet.settings.currency.0.as_str(), printer);
    if arguments.accept {
        let file = kept::accepted(&plan, shared.fleet.plan.as_ref(), shared.fleet.settings.format, as_of);
        let path = arguments.fleet.join("plan.yaml");
        output::write_atomically(&path, file.text().as_bytes())?;
        printer.summary(&format!("{}: {} visits accepted", path.display(), plan.visits.len()));
    }
    if !diagnostics.is_empty() {
        printer.summary(&count(&diagnostics));
    }
    Ok(u8::from(diagnostics.iter().any(|d| d.severity == crate::diagnostic::Severity::Error)))
}

/// The visits, what is cancelled, and what found no day.
fn tell(plan: &Plan, until: Option<chrono::NaiveDate>, currency: &str, printer: Printer) {
    let shown = |day| until.is_none_or(|until| day <= until);
    for visit in plan.visits.iter().filter(|visit| shown(visit.date)) {
        let minutes: f64 = visit.tasks.iter().map(|task| task.minutes).sum();
        let mut by_work: BTreeMap<String, u32> = BTreeMap::new();
        for task in &visit.tasks {
            *by_work.entry(format::words(&task.work.word())).or_default() += 1;
        }
        let works: Vec<String> = by_work
            .into_iter()
            .map(|(what, times)| if times > 1 { format!("{what} ×{times}") } else { what })
            .collect();
        let who = visit.technician.as_ref().map_or("-", |id| id.as_str());
        let moved = visit.moved.as_ref().map_or_else(String::new, |why| format!("  [moved: {why}]"));
        printer.data(&format!(
            "{} {:<24} {:<10} {:>4.0} min  {}{moved}",
            visit.date,
            visit.id,
            who,
            minutes + visit.travel_minutes,
            works.join(", ")
        ));
    }
    for gone in plan.cancelled.iter().filter(|gone| shown(gone.date)) {
        printer.data(&format!("{} {:<24} cancelled: {}", gone.date, gone.id, gone.because));
    }
    for left in plan.not_fitted.iter().filter(|left| until.is_none() || left.due.is_some_and(shown)) {
        let due = left.due.map_or_else(String::new, |due| format!(", due {due}"));
        printer.data(&format!("not fitted: {}/{} {}{due}: {}", left.site, left.at, left.work.word(), left.why));
    }
    let bound = plan.bound.unwrap_or(0.0);
    let gap = if bound > 0.0 { (plan.cost / bound - 1.0) * 100.0 } else { 0.0 };
    let stopped = match plan.stopped {
        0 => String::new(),
        1 => "; at one site the search stopped at its limit of steps".to_owned(),
        many => format!("; at {many} sites the search stopped at its limit of steps"),
    };
    printer.summary(&format!(
        "{} visits; ways, life thrown away and the risk of waiting come to {:.0} {currency}; no plan with these windows \
         comes to less than {:.0}, so this is at most {gap:.1} % above the best{stopped}. That least sum knows windows, shared \
         ways and how much work a trip holds, but neither who can do what nor that one person's day fills up with several \
         areas: where days are full, no plan comes near it",
        plan.visits.len(),
        plan.cost,
        bound
    ));
}
