//! `tubwright quote`: a year quoted for sites or customers, each with the customer's quote and the office's inside sheet.

use chrono::Datelike;
use rayon::prelude::*;

use crate::address::Id;
use crate::calendar::{self, Month};
use crate::cli::{Pdf, Quote};
use crate::commands::{Failure, failure, load, renderer, tell};
use crate::costs::outlook::{self, ContractYear};
use crate::costs::quote::{
    Given, Portfolio, Quote as Quoted, Scenario, Unit, WhatIf, portfolio, quote, with_contracts_to,
};
use crate::costs::simulation::Worlds;
use crate::costs::year::{Habits, Window};
use crate::interrupt::{Interrupted, Stop};
use crate::manifest::{self, Manifest, Versions};
use crate::output::{FileDigest, OutputFolder};
use crate::printer::Printer;
use crate::quantities::SpaFigures;
use crate::records::load::{CUSTOMERS_FOLDER, Shared, site_of};
use crate::records::yaml::nearest;
use crate::records::{Fleet, Site};
use crate::report::document::Problem;
use crate::report::typst::Typesetter;
use crate::report::{inside_view, quote as documents, quote_view};
use crate::schedule::visits::{self, Plan};
use crate::site::{self, AllRead, SiteFigures};
use crate::tables::quoted;
use crate::usage::Clock;

/// Visits as a choice.
const CHOICES: [(&str, i32); 4] = [("monthly", 1), ("every two months", 2), ("quarterly", 3), ("half-yearly", 6)];

/// Years that may be quoted behind the as-of day's: further on the records say too little of use and ages (common
/// practice, no source).
const YEARS_AHEAD: i32 = 2;

/// A fleet done some way that asks for a plan of its own.
struct Way<'a> {
    what_if: &'a WhatIf,
    /// As it is planned: nothing but this way differs from the records, as the year it is held against is planned.
    fleet: Fleet,
    /// With its contracts going on, as the year is drawn.
    going_on: Fleet,
}

impl<'a> Way<'a> {
    fn of(what_if: &'a WhatIf, fleet: &Fleet, year: i32) -> Self {
        let fleet = what_if.applied(fleet);
        Self { what_if, going_on: with_contracts_to(&fleet, year), fleet }
    }
}

/// Quotes a year.
///
/// # Errors
/// If nothing could be quoted; the status says why.
pub fn run(arguments: &Quote, printer: Printer, stop: &Stop) -> Result<u8, Failure> {
    let Some(shared) = load(&arguments.fleet, printer)? else { return Ok(2) };
    let what_ifs: Vec<WhatIf> =
        arguments.with.iter().map(|text| text.parse()).collect::<Result<_, String>>().map_err(failure)?;
    for what_if in &what_ifs {
        if let WhatIf::Renew(part) = what_if
            && shared.fleet.book.parts.get(part).is_none()
        {
            return Err(failure(format!("the book has no part `{part}`")));
        }
    }
    let today = || calendar::today(shared.fleet.settings.timezone.0);
    let as_of = arguments.month.unwrap_or_else(|| Month::of(today()).plus(-1)).last();
    let year = arguments.year.unwrap_or(as_of.year() + 1);
    if year > as_of.year() + YEARS_AHEAD {
        return Err(failure(format!(
            "{year} is too far ahead: records up to {as_of} tell of years up to {}; is it right?",
            as_of.year() + YEARS_AHEAD
        )));
    }
    let Some(window) = Window::of_year(year, as_of) else {
        return Err(failure(format!("{year} is over on {as_of}, the day up to which records are used")));
    };
    if shared.fleet.settings.labour.cost.as_ref().and_then(|cost| cost.on(as_of)).is_none() {
        return Err(failure(
            "no year can be quoted without what an hour of work costs: labour.cost in fleet.yaml".into(),
        ));
    }
    let clock = Clock::start();
    let AllRead { sites, lost } = site::read_all(&shared, as_of, stop)?;
    let mut left_out = Vec::new();
    for (id, diagnostics) in lost {
        printer.diagnostics(&diagnostics);
        left_out.push(format!("{id}: the site could not be understood and is not quoted"));
    }
    let units = units(arguments, &shared, &sites)?;
    let lives = site::fleet_lives(&shared.fleet, &sites, as_of);
    printer.stage("read, hours and lives", clock);
    let clock = Clock::start();
    let fleet = with_contracts_to(&shared.fleet, year);
    let ways: Vec<Way> = what_ifs
        .iter()
        .filter(|what_if| what_if.is_planned_anew())
        .map(|what_if| Way::of(what_if, &shared.fleet, year))
        .collect();
    // The plan is the report's own: what it does not reach is added alike there and here.
    let figures = site::all_figures(&shared.fleet, &lives, &sites, as_of);
    stop.check()?;
    let plan = visits::plan_unless(&shared.fleet, &figures, as_of, false, stop)?;
    let mut planned: Vec<(Vec<SiteFigures>, Plan)> = Vec::new();
    for way in &ways {
        let figures = site::all_figures(&way.fleet, &lives, &sites, as_of);
        stop.check()?;
        let plan = visits::plan_unless(&way.fleet, &figures, as_of, false, stop)?;
        planned.push((figures, plan));
    }
    printer.stage("plans", clock);
    let clock = Clock::start();
    let seed = shared.fleet.settings.seed.unwrap_or(1);
    let worlds = Worlds::new(&lives, seed, window, arguments.draws as usize);
    let base = Scenario { fleet: &fleet, sites: &figures, plan: &plan, renew: None, months: None };
    let mut scenarios: Vec<(&WhatIf, Scenario)> = Vec::new();
    for what_if in &what_ifs {
        let scenario = match what_if {
            WhatIf::Renew(part) => Scenario { renew: Some(part), ..base },
            WhatIf::Visits(words) => Scenario { months: visits::work::months_between(words), ..base },
            WhatIf::RenewBy(_) => {
                let own = ways.iter().zip(&planned).find(|(way, _)| way.what_if == what_if);
                own.map_or(base, |(way, (sites, plan))| Scenario { fleet: &way.going_on, sites, plan, ..base })
            }
        };
        scenarios.push((what_if, scenario));
    }
    let given = Given {
        base,
        choices: CHOICES.to_vec(),
        what_ifs: scenarios,
        worlds: &worlds,
        habits: Habits::of(&shared.fleet, sites.iter().map(|(site, _)| site)),
    };
    let quotes: Vec<(Quoted, Vec<i64>)> = units
        .into_par_iter()
        .map(|(unit, sites)| quote(&given, unit, sites, stop))
        .collect::<Result<_, Interrupted>>()?;
    let together = (quotes.len() > 1).then(|| portfolio(&shared.fleet, &quotes));
    printer.stage("years drawn", clock);
    let contracts = match arguments.pdf {
        // Only the office's sheet tells how the running contracts stand.
        Pdf::None => Vec::new(),
        Pdf::Required => outlook::outlook(&shared.fleet, &figures, &plan, &lives, as_of).contracts,
    };
    stop.check()?;
    let run =
        Run { arguments, printer, stop, shared: &shared, given: &given, contracts: &contracts, together: &together };
    let outcome = run.publish(&quotes, left_out)?;
    run.say(&quotes);
    Ok(outcome)
}

/// What is quoted: the sites asked for, the customer's sites together, or every site by itself.
fn units(
    arguments: &Quote,
    shared: &Shared,
    sites: &[(Site, Vec<SpaFigures>)],
) -> Result<Vec<(Unit, Vec<usize>)>, Failure> {
    let unknown = |kind: &str, name: &str, names: &mut dyn Iterator<Item = &str>| {
        let hint = nearest(name, names).map_or_else(String::new, |near| format!("; did you mean `{near}`?"));
        failure(format!("no {kind} that can be quoted is named `{name}`{hint}"))
    };
    if let Some(name) = &arguments.site {
        let found = sites.iter().position(|(site, _)| site.id.as_str() == name);
        let names = &mut sites.iter().map(|(site, _)| site.id.as_str());
        let index = found.ok_or_else(|| unknown("site", name, names))?;
        return Ok(vec![(Unit::Site(sites[index].0.id.clone()), vec![index])]);
    }
    if let Some(name) = &arguments.customer {
        let of_customer = |site: &Site| site.customer.as_ref().is_some_and(|id| id.as_str() == name);
        let all: Vec<usize> = (0..sites.len()).filter(|index| of_customer(&sites[*index].0)).collect();
        let Some(first) = all.first() else {
            return Err(unknown("customer", name, &mut shared.fleet.customers.keys().map(Id::as_str)));
        };
        let customer = sites[*first].0.customer.clone();
        return Ok(customer.into_iter().map(|id| (Unit::Customer(id), all.clone())).collect());
    }
    if sites.is_empty() {
        return Err(failure("no site can be quoted".to_owned()));
    }
    Ok(sites.iter().enumerate().map(|(index, (site, _))| (Unit::Site(site.id.clone()), vec![index])).collect())
}

/// The files of the fleet as they were read.
#[derive(Clone, Copy)]
struct Inputs<'a> {
    files: &'a [FileDigest],
    /// One digest of them all, and of what was asked for: how long parts last is learnt from every site's records.
    made_from: &'a str,
}

impl Inputs<'_> {
    /// The files of some sites and those of the whole fleet. A list of all in every quote would grow with the square of the fleet.
    fn of(self, sites: &[&str]) -> Vec<FileDigest> {
        let theirs = |file: &&FileDigest| site_of(&file.path).is_none_or(|site| sites.contains(&site));
        self.files.iter().filter(theirs).cloned().collect()
    }
}

/// Publishing with what it needs everywhere.
struct Run<'a> {
    arguments: &'a Quote,
    printer: Printer,
    stop: &'a Stop,
    shared: &'a Shared,
    given: &'a Given<'a>,
    contracts: &'a [ContractYear],
    together: &'a Option<Portfolio>,
}

impl Run<'_> {
    fn publish(&self, quotes: &[(Quoted, Vec<i64>)], mut left_out: Vec<String>) -> Result<u8, Failure> {
        let output = OutputFolder::open(&self.arguments.out)?;
        let (pdf, typst) = (self.arguments.pdf, self.arguments.typst.as_deref());
        let renderer = renderer(pdf, typst, self.printer, self.stop, &mut left_out);
        let typesetter = renderer.as_ref().map(|renderer| renderer as &dyn Typesetter);
        let inputs = manifest::inputs(&self.shared.folder);
        let (window, draws) = (self.given.worlds.window(), self.arguments.draws.to_string());
        let renderer_version = typesetter.map_or_else(|| "none".to_owned(), Typesetter::version);
        let made_from = manifest::made_from(
            &[&window.as_of.to_string(), &window.name(), &draws, manifest::SOURCE, &renderer_version],
            &inputs,
        );
        let inputs = Inputs { files: &inputs, made_from: &made_from };
        let maker = documents::Maker::new().map_err(Failure::new)?;
        let clock = Clock::start();
        let made: Vec<Result<Vec<Problem>, Failure>> = quotes
            .par_iter()
            .map(|(quote, _)| {
                self.stop.check()?;
                self.publish_one(&output, &maker, quote, typesetter, inputs, &left_out)
            })
            .collect();
        let problems: Vec<Vec<Problem>> = made.into_iter().collect::<Result<_, _>>()?;
        tell(problems.into_iter().flatten(), self.printer, &mut left_out);
        self.printer.stage("documents", clock);
        Ok(u8::from(!left_out.is_empty()))
    }

    fn publish_one(
        &self,
        output: &OutputFolder,
        maker: &documents::Maker,
        quote: &Quoted,
        typesetter: Option<&dyn Typesetter>,
        inputs: Inputs,
        left_out: &[String],
    ) -> Result<Vec<Problem>, Failure> {
        let window = self.given.worlds.window();
        let part = output.part(&format!("quotes/{}/{}", window.last.year(), folder(&quote.unit)))?;
        let fleet = self.given.base.fleet;
        let site_ids: Vec<&str> =
            quote.sites.iter().map(|index| self.given.base.sites[*index].site.id.as_str()).collect();
        let csv = quoted::quoted(quote, &site_ids.join(" "), window.last.year(), fleet);
        part.write("costs.csv", &csv.map_err(Failure::new)?).map_err(Failure::new)?;
        let mut problems = Vec::new();
        if let Some(typesetter) = typesetter {
            let contract = self.contracts.iter().find(|contract| Some(&contract.customer) == quote.customer.as_ref());
            let customer = quote_view::view(self.given, quote);
            let inside = inside_view::view(self.given, quote, contract, self.together.as_ref());
            let chart = inside_view::chart(fleet, quote, &quote_view::unit_name(self.given, quote));
            let inside = (&inside, chart.as_ref());
            problems = maker.make(&part, quote, &customer, inside, typesetter, window.as_of).map_err(Failure::new)?;
        }
        let mut left_out = left_out.to_vec();
        left_out.extend(problems.iter().filter(|problem| problem.costs).map(|problem| problem.text.clone()));
        let manifest = Manifest {
            as_of: window.as_of.to_string(),
            versions: Versions {
                tubwright: env!("CARGO_PKG_VERSION").to_owned(),
                source: manifest::SOURCE.to_owned(),
                renderer: typesetter.map(Typesetter::version),
                site_view: quote_view::QUOTE_VIEW_VERSION,
                record_format: 1,
            },
            made_from: Some(inputs.made_from.to_owned()),
            inputs: inputs.of(&site_ids),
            files: part.files(),
            diagnostics: Vec::new(),
            left_out,
        };
        part.publish(&manifest.bytes().map_err(Failure::new)?)?;
        Ok(problems)
    }

    /// The quotes, a line each, and what other ways of doing the year would change.
    fn say(&self, quotes: &[(Quoted, Vec<i64>)]) {
        let fleet = self.given.base.fleet;
        for (quote, _) in quotes {
            for line in inside_view::in_short(fleet, quote, self.given.worlds.window()) {
                self.printer.data(&line);
            }
        }
        if let Some(together) = self.together {
            self.printer.data(&inside_view::together(fleet, together));
        }
        self.printer.summary(&format!(
            "{}: {} quoted in {}",
            self.given.worlds.window().last.year(),
            if quotes.len() == 1 { "one unit".to_owned() } else { format!("{} units", quotes.len()) },
            self.arguments.out.join("quotes").join(self.given.worlds.window().last.year().to_string()).display()
        ));
    }
}

/// The folder of a unit within the year's.
fn folder(unit: &Unit) -> String {
    match unit {
        Unit::Site(id) => id.to_string(),
        Unit::Customer(id) => format!("{CUSTOMERS_FOLDER}/{id}"),
    }
}
