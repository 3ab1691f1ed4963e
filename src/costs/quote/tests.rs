use super::*;
use crate::calendar::days_between;
use crate::costs::outlook::outlook;
use crate::costs::year::{Window, routine_of};
use crate::quantities::fleet_for_tests::{day, load_with};
use crate::schedule::visits::plan;

const FLEET: &str = "format: 1\nfleet: Invented\ncurrency: GBP\ntimezone: Europe/London\nrenew_by: book\n\
    labour: {cost: 24.00}\nquote: {margin: 0.20, covers: 0.80}\n";
const BOOK: &str = "format: 1\nparts:\n  \
    motor_bearing: {fits: pump, interval: {age: 36 mo}, wears_by: age, cost: 64.00, time: 150 min, failure: {cost: 200.00}}\n  \
    lamp: {fits: uv_lamp, interval: {age: 9 mo}, wears_by: age, cost: 46.00, time: 20 min}\n  \
    cartridge: {fits: filter, interval: {age: 12 mo}, wears_by: age, time: 15 min}\n\
    tasks:\n  filter_clean: {fits: filter, every: 14 d, time: 20 min}\n  safety_check: {fits: spa, every: 12 mo, time: 45 min}\n";
const CUSTOMERS: &str = "format: 1\ncustomers: {harbour: {name: Harbour Stays, contract: {from: 2026-01-01, to: 2026-12-31, \
    scope: everything, visits: monthly, callouts: included, price: {2026: 900.00}}}}\n";
/// The bearing falls due in November 2026, ahead of the year quoted; something was left at the last visit.
const SITE: &str = "format: 1\ncustomer: harbour\ntravel: {time: 30 min, cost: 10.00}\nrecords_from: 2023-01-01\nspas:\n  tub:\n    \
    fitted: 2023-11-20\n    pumps: {jets: {duty: jets, program: {run: 4 h/day}}}\n    filters: {main: {kind: cartridge}}\n    \
    equipment: {uv: {kind: uv_lamp, fitted: 2026-09-01}}\n\
    log: [{date: 2026-10-20, at: {tub: {done: [safety_check]}, tub/main: {done: [filter_clean]}}, \
    left: [{at: tub/uv, note: SECRET}, {at: tub/jets, note: SECRET, quote: true}]}]\n";

fn with<R>(look: impl FnOnce(&Fleet, &[SiteFigures], &Plan) -> R) -> R {
    with_records(FLEET, CUSTOMERS, look)
}

fn with_records<R>(fleet: &str, customers: &str, look: impl FnOnce(&Fleet, &[SiteFigures], &Plan) -> R) -> R {
    let files =
        [("fleet.yaml", fleet), ("customers.yaml", customers), ("upkeep.yaml", BOOK), ("sites/home.yaml", SITE)];
    load_with(&files, "2026-10-31", |fleet, site, as_of| {
        let sites = vec![crate::site::site_figures(fleet, site.lives, site.site, site.spas, as_of)];
        let plan = plan(fleet, &sites, as_of, false);
        look(fleet, &sites, &plan)
    })
}

fn of<R>(draws: usize, look: impl FnOnce(&Given, &Quote, &Drawn) -> R) -> R {
    of_records((FLEET, CUSTOMERS), 2027, draws, look)
}

fn of_records<R>(
    (fleet, customers): (&str, &str),
    year: i32,
    draws: usize,
    look: impl FnOnce(&Given, &Quote, &Drawn) -> R,
) -> R {
    with_records(fleet, customers, |fleet, sites, plan| {
        let going_on = with_contracts_to(fleet, year);
        let window = Window::of_year(year, day("2026-10-31")).unwrap();
        let worlds = Worlds::new(sites[0].lives, 1, window, draws);
        let base = Scenario { fleet: &going_on, sites, plan, renew: None, months: None };
        let given = Given {
            base,
            choices: vec![("monthly", 1), ("quarterly", 3), ("half-yearly", 6)],
            what_ifs: Vec::new(),
            worlds: &worlds,
            habits: Habits { by_callout: 0.5, out_of_hours: 0.0 },
        };
        let stop = Stop::never();
        let (quote, _) = quote(&given, Unit::Site(sites[0].site.id.clone()), vec![0], &stop).unwrap();
        let drawn = draw(&given, &base, &[0], None, &stop).unwrap();
        look(&given, &quote, &drawn)
    })
}

/// What the customer's page lists is what the price is made of: its visits' work and its renewals, to the minor unit; and
/// nothing of another year is in it.
#[test]
fn every_listed_work_has_its_cost_in_the_price_and_no_other() {
    of(3000, |given, quote, drawn| {
        let year = &drawn.years[0];
        let minutes: f64 = quote.work.iter().map(|(_, work)| work.minutes).sum();
        assert!((year.routine.labour - minutes * 40.0).abs() < 1e-6, "{:?}", quote.work);
        let costs = |at: &Address, part: &Id| {
            let thing = year.things.iter().find(|thing| thing.at == *at).unwrap();
            thing.costs.iter().find(|costs| costs.kind == *part).unwrap()
        };
        let renewals = |of: fn(&crate::costs::year::PartCosts) -> f64| {
            quote.renewals.iter().map(|(_, at, part, times)| times * of(costs(at, part))).sum::<f64>()
        };
        assert!((quote.means.planned_parts - renewals(|costs| costs.parts)).abs() < 1e-6);
        assert!((quote.means.planned_labour - minutes * 40.0 - renewals(|costs| costs.labour)).abs() < 1e-6);
        // The bearing is planned for November 2026 and lasts three years; the lamp comes round every nine months.
        let plan: Vec<_> =
            given.base.plan.visits.iter().flat_map(|visit| visit.tasks.iter().map(move |t| (visit.date, t))).collect();
        let bearing = Work::Renew(Id::parse("motor_bearing").unwrap());
        assert!(plan.iter().any(|(date, task)| task.work == bearing && *date < day("2027-01-01")), "{plan:?}");
        assert!(quote.renewals.iter().all(|(_, _, part, times)| part.as_str() != "motor_bearing" || *times < 0.05));
        let lamps = quote.renewals.iter().find(|(_, _, part, _)| part.as_str() == "lamp").unwrap().3;
        assert!((0.5..=2.0).contains(&lamps), "{lamps}");
        let rows = crate::report::quote_view::view(given, quote).work;
        assert!(rows.iter().all(|row| !row.what.contains("bearing")), "{rows:?}");
        assert!(
            rows.iter().any(|row| row.what.contains("Lamp renewed") && row.times.starts_with("about ")),
            "{rows:?}"
        );
        // What the last visit left is done in 2026 and not again; a year has one safety check and 26 cleans or so.
        assert!(quote.work.iter().all(|(_, work)| !matches!(work.work, Work::Left(_))), "{:?}", quote.work);
        let times = |what: &Work| {
            quote.work.iter().filter(|(_, work)| work.work == *what).map(|(_, work)| work.times).sum::<u32>()
        };
        assert_eq!(times(&Work::Task(Id::parse("safety_check").unwrap())), 1);
        assert!((25..=28).contains(&times(&Work::Task(Id::parse("filter_clean").unwrap()))));
        // The contract ends in 2026 and is taken to go on: a look round a month.
        assert_eq!(times(&Work::ContractVisit), 12);
    });
}

/// The page says what is not in the price for want of a record, what waits for a quotation of its own, and why choices
/// have the same number of visits; the technician's note is in none of it.
#[test]
fn what_is_not_in_the_price_is_said() {
    of(400, |given, quote, _| {
        let view = crate::report::quote_view::view(given, quote);
        let says = |part: &str| view.excluded.iter().any(|line| line.contains(part));
        assert!(says("wherever one of these is renewed (cartridge): no price is on record"), "{:?}", view.excluded);
        assert!(
            says("A new pump, should one be needed (tub, jets)")
                && says("Waiting for a quotation of its own: the pump tub, jets")
        );
        assert!(!serde_json::to_string(&view).unwrap().contains("SECRET"));
        let visits: Vec<f64> = quote.choices.iter().map(|choice| choice.visits).collect();
        assert!(visits.windows(2).all(|pair| pair[0] == pair[1]), "{visits:?}");
        assert!(view.choice_note.contains("Here that work asks for all"), "{}", view.choice_note);
        // Monthly is what is quoted; a look round less is 15 min at 24.00, covered and with the margin: 7.50 each.
        let price = |index: usize| quote.choices[index].price;
        assert_eq!(price(0), quote.scopes[2].price);
        for (index, fewer) in [(1, 8), (2, 10)] {
            let off = (price(0) - price(index)).to_f64().unwrap() - 7.5 * f64::from(fewer);
            assert!(off.abs() < 0.02, "{off} for {fewer} fewer");
        }
    });
}

/// Where the contract bears lost nights every column of the customer's page says so, and the office is told what of them
/// is counted as nothing; where it does not, neither says a word of it.
#[test]
fn lost_nights_that_are_borne_and_not_known_are_named() {
    for scope in ["labour_and_parts", "everything"] {
        let bears = CUSTOMERS.replace("scope: everything", &format!("scope: {scope}, bears_lost_nights: true"));
        of_records((FLEET, &bears), 2027, 100, |given, quote, _| {
            let view = crate::report::quote_view::view(given, quote);
            let row = view.rows.iter().find(|row| row.what.starts_with("Guest nights")).unwrap();
            assert_eq!(row.cells, ["included"; 3], "{scope}");
            assert!(!view.excluded.iter().any(|line| line.contains("nights")), "{:?}", view.excluded);
            let missing = crate::report::inside_view::view(given, quote, None, None).missing.join("\n");
            for owed in
                ["(lost_night in the site's file): home", "one with guests: Tub", "(failure.down in upkeep.yaml): "]
            {
                assert!(missing.contains(owed), "{scope}: {owed} in {missing}");
            }
        });
    }
    of(100, |given, quote, _| {
        let missing = crate::report::inside_view::view(given, quote, None, None).missing.join("\n");
        assert!(!missing.contains("lost_night") && !missing.contains("with guests"), "{missing}");
    });
}

/// The page names no rate that it does not state; the office is told which are missing.
#[test]
fn rates_that_are_not_there_are_not_referred_to() {
    let of = |labour: &str, callouts: &str| {
        let fleet = FLEET.replace("{cost: 24.00}", labour);
        let customers = CUSTOMERS.replace("scope: everything", "scope: labour").replace("callouts: included", callouts);
        of_records((&fleet, &customers), 2027, 100, |given, quote, _| {
            let view = crate::report::quote_view::view(given, quote);
            let inside = crate::report::inside_view::view(given, quote, None, None).missing.join("\n");
            (view.rates.join("\n"), view.excluded.join("\n"), view.included.join("\n") + &view.scope_note, inside)
        })
    };
    let (rates, excluded, rest, inside) = of("{cost: 24.00, out_of_hours: 1.5}", "callouts: 1 a year");
    assert_eq!(rates, "No rates are stated; they are agreed before the work.");
    assert!(
        excluded.contains("Call-outs beyond the first in the year: charged as agreed before the work."),
        "{excluded}"
    );
    assert!(rest.contains("One call-out in the year.") && !rest.contains("rates below"), "{rest}");
    assert!(
        inside.contains("(labour.charge), what a call-out is charged at (labour.callout) in fleet.yaml"),
        "{inside}"
    );
    let (rates, excluded, rest, inside) =
        of("{cost: 24.00, charge: 46.00, callout: 95.00, out_of_hours: 1.5}", "callouts: 0");
    assert!(rates.contains("46.00") && rates.contains("95.00") && rates.contains("1.5 times the hour"), "{rates}");
    assert!(
        excluded.contains("Call-outs: charged at the rates below.") && rest.contains("rates below"),
        "{excluded} {rest}"
    );
    assert!(!inside.contains("labour.c") && !rest.contains("0 call-outs"), "{inside} {rest}");
    let (rates, ..) = of("{cost: 24.00, callout: 95.00, out_of_hours: 1.5}", "callouts: charged");
    assert!(rates.contains("An hour of work: no rate is stated") && !rates.contains("times"), "{rates}");
}

/// The way of each planned visit costs its 30 min at 24.00 and its fare of 10.00, and not its time once more.
#[test]
fn the_way_of_a_visit_is_paid_once() {
    of(100, |_, quote, drawn| {
        let travel = drawn.years[0].routine.travel;
        assert!(quote.visits > 20.0 && (travel - quote.visits * 2_200.0).abs() < 1e-6, "{travel} for {}", quote.visits);
    });
}

/// A fleet of one site shares no way: the price is that of trips of its own. Were the ways for nothing, the price would be
/// less by them, covered and with the margin, and the sheet would name both.
#[test]
fn what_shared_ways_do_to_the_price_is_told() {
    of(400, |given, quote, drawn| {
        let price = quote.scopes[2].price;
        assert!(
            quote.ways.shared > 10_000.0 && (quote.ways.alone - quote.ways.shared).abs() < 1e-6,
            "{:?}",
            quote.ways
        );
        assert_eq!(quote.ways.price_alone, price);
        let told = |quote: &Quote| crate::report::inside_view::view(given, quote, None, None).methods.join("\n");
        assert!(told(quote).contains("shared with no other site"), "{}", told(quote));
        let mut years = drawn.years.clone();
        years[0].routine.travel -= 8_000.0;
        let ways = Ways::of(given.base.fleet, &years, 1.0, &quote.scopes[2].spread);
        let more = (ways.price_alone - price).to_f64().unwrap();
        assert!((more - 80.0 / 0.8).abs() < 0.02, "{more}");
        let said = told(&Quote { ways, ..quote.clone() });
        assert!(said.contains(&format!("the price £\u{a0}{}", ways.price_alone)), "{said}");
        assert!(said.contains("moves none of the draws") && !said.contains("moves nothing"), "{said}");
    });
}

/// One of the choices is what is quoted, at its price, whatever the contract promises.
#[test]
fn one_choice_is_the_quoted_one() {
    let of = |visits: &str| {
        let customers = CUSTOMERS.replace("visits: monthly", visits);
        of_records((FLEET, &customers), 2027, 100, |given, quote, _| {
            let quoted: Vec<&Choice> = quote.choices.iter().filter(|choice| choice.as_quoted).collect();
            assert_eq!(quoted.len(), 1, "{visits}: {:?}", quote.choices);
            assert_eq!((quoted[0].price, quoted[0].visits), (quote.scopes[2].price, quote.visits), "{visits}");
            let rows = crate::report::quote_view::view(given, quote).choices;
            rows.into_iter()
                .filter_map(|row| row.promised.strip_suffix(", as quoted").map(str::to_owned))
                .collect::<Vec<_>>()
        })
    };
    assert_eq!(of("visits: monthly"), ["Monthly"]);
    assert_eq!(of("visits: 4 a year"), ["Quarterly"]);
    assert_eq!(of("visits: yearly"), ["Yearly"]);
    assert_eq!(of("index: 0"), ["None promised"]);
}

/// A price that the contract states for the year quoted is what the office holds the quote against.
#[test]
fn the_price_the_contract_states_for_the_year_is_told() {
    let customers = CUSTOMERS.replace("price: {2026: 900.00}", "price: {2026: 900.00, 2027: 1000.00}");
    let rest = |customers: &str| {
        of_records((FLEET, customers), 2027, 100, |given, quote, _| {
            let price = quote.scopes[2].price.to_f64().unwrap();
            (crate::report::inside_view::view(given, quote, None, None).rest, price)
        })
    };
    let (said, price) = rest(&customers);
    let change = format!("+{:.0}\u{a0}% against it.", price / 10.0 - 100.0);
    assert!(
        said.contains("For 2027 the contract states £\u{a0}1000.00: ") && said.ends_with(&change),
        "{said} {change}"
    );
    assert!(!rest(CUSTOMERS).0.contains("states"));
}

/// What is left of the running year is quoted as that: no page calls it the year, and no price of a whole year is held
/// against it.
#[test]
fn a_part_of_a_year_is_called_so() {
    of_records((FLEET, CUSTOMERS), 2026, 100, |given, quote, _| {
        let view = crate::report::quote_view::view(given, quote);
        let time = "1 November to 31 December 2026";
        assert_eq!(view.title, format!("Quotation for {time}: home"));
        assert_eq!(view.document.header, format!("Quotation for {time}"));
        assert_eq!(view.amounts[0].what, format!("Price for {time}"));
        assert!(view.summary.contains(&format!("from {time} we quote")), "{}", view.summary);
        let page = serde_json::to_string(&view).unwrap();
        for whole in ["for the year", "a year\"", "in the year", "calendar year", "The year has", "Quotation for 2026"]
        {
            assert!(!page.contains(whole), "{whole}: {page}");
        }
        let inside = crate::report::inside_view::view(given, quote, None, None);
        assert!(inside.title.contains(time) && !inside.rest.contains("\u{a0}%"), "{}", inside.rest);
        assert!(inside.rest.contains("900.00 is for the whole of this year"), "{}", inside.rest);
    });
    of(100, |given, quote, _| {
        let view = crate::report::quote_view::view(given, quote);
        assert_eq!(
            (view.title.as_str(), view.heads.price.as_str()),
            ("Quotation for 2027: home", "Price for the year")
        );
        let inside = crate::report::inside_view::view(given, quote, None, None);
        assert!(
            inside.rest.contains("This year's price is £\u{a0}900.00: ") && inside.rest.ends_with("\u{a0}%."),
            "{}",
            inside.rest
        );
    });
}

/// The report's own next year is drawn from the same streams with the same visits: its price is the quote's within what
/// is said of its error, and both know the same mean visits.
#[test]
fn the_report_and_the_quote_give_one_price() {
    let price = of(10_000, |_, quote, _| quote.scopes[2].price.to_f64().unwrap());
    with(|fleet, sites, plan| {
        let costs = outlook(fleet, sites, plan, sites[0].lives, day("2026-10-31"));
        let contract = &costs.contracts[0];
        let (next, error) = (contract.next_price.to_f64().unwrap(), 2.0 * contract.next_price_error);
        assert!(error > 0.0 && (price - next).abs() <= error, "{price} against {next} ± {error}");
    });
}

/// The choices, which leave all other work where it is, against plans made anew: as many visits, give or take one.
#[test]
fn a_choice_has_the_visits_a_plan_made_for_it_would_have() {
    of(100, |given, quote, _| {
        for choice in &quote.choices {
            let mut fleet = given.base.fleet.clone();
            for contract in fleet.customers.values_mut().filter_map(|customer| customer.contract.as_mut()) {
                contract.visits = Some(crate::records::forms::Text(choice.words.clone()));
            }
            let plan = plan(&fleet, given.base.sites, day("2026-10-31"), false);
            let window = given.worlds.window();
            let anew = routine_of(&fleet, &given.base.sites[0], &plan, window, LookRounds::AsPlanned);
            assert!(
                (anew.visits - choice.visits).abs() <= 1.0,
                "{}: {} and {}",
                choice.words,
                anew.visits,
                choice.visits
            );
            assert!(days_between(window.first, window.last) == 364);
        }
    });
}
