//! Quotes and statements of the demo fleet, opened again: what the customer gets holds nothing of the inside, what adds up
//! adds up, and other ways of doing the year are told.

use std::collections::BTreeSet;
use std::path::Path;
use std::sync::OnceLock;

use super::demo::MONTH;
use crate::support::{Fleet, Pdf, Run, Table, contents, demo};

/// A quote of every site, with two other ways of doing the year, and the one that is written.
fn run() -> &'static Run {
    static RUN: OnceLock<Run> = OnceLock::new();
    RUN.get_or_init(|| {
        let out = tempfile::tempdir_in(env!("CARGO_TARGET_TMPDIR")).unwrap();
        let folder = out.path().to_string_lossy().into_owned();
        let fleet = demo().to_string_lossy().into_owned();
        let mut run = Run::of(&[
            "quote",
            &fleet,
            "--year",
            "2027",
            "--month",
            MONTH,
            "--out",
            &folder,
            "--draws",
            "400",
            "--with",
            "visits=quarterly",
            "--with",
            "renew=shaft_seal",
            "--with",
            "renew_by=earliest",
        ])
        .expect_status(0);
        run.out = out;
        run
    })
}

fn folder(site: &str) -> std::path::PathBuf {
    run().out.path().join("quotes/2027").join(site)
}

const SITES: [&str; 6] =
    ["alder-lodge", "heron-gym", "kingfisher-barns", "lapwing-club", "rowan-house", "willow-court"];

/// Words that belong to the inside.
const INSIDE_WORDS: [&str; 22] = [
    "margin",
    "cost",
    "probab",
    "chance",
    "simulat",
    "drawn",
    "spread",
    "expectedfailure",
    "failuresexpected",
    "yearsin5",
    "p80",
    "percentile",
    "profit",
    "loss",
    "wage",
    "purchase",
    "note:",
    ".yaml",
    ".csv",
    "sites/",
    "notknown,and",
    "seed",
];

/// Every number of the inside that is not a price list's: what is paid for parts and pumps, wages and fares, as written in
/// the records, and what the quote reckoned.
fn inside_figures(site: &str) -> BTreeSet<String> {
    let mut figures = BTreeSet::new();
    let records = contents(&demo());
    let texts =
        ["fleet.yaml", "upkeep.yaml", "pumps.yaml"].map(|name| String::from_utf8(records[name].clone()).unwrap());
    let cost = regex::Regex::new(r"\bcost: (\{[^}]*\}|[0-9.]+)").unwrap();
    let number = regex::Regex::new(r"[0-9]+\.[0-9]{2}").unwrap();
    for text in &texts {
        for found in cost.captures_iter(text) {
            // The one in force: an old wage may be this month's tax by chance.
            figures.extend(number.find_iter(&found[1]).last().map(|amount| amount.as_str().to_owned()));
        }
    }
    // What customers pay may be the same number by chance.
    let sell = regex::Regex::new(r"\b(sell|charge|callout): (\{[^}]*\}|[0-9.]+)").unwrap();
    for text in &texts {
        for found in sell.captures_iter(text) {
            for amount in number.find_iter(&found[2]) {
                figures.remove(amount.as_str());
            }
        }
    }
    let table = Table::read(&folder(site).join("costs.csv"));
    for row in &table.rows {
        for (name, value) in table.header.iter().zip(row.cells()) {
            if name.starts_with("total_") || ["labour", "parts", "travel", "failure_costs"].contains(&name.as_str()) {
                figures.insert(value.clone());
            }
        }
    }
    // A contract's price is the customer's to know; 480.00 stands in 4480.00.
    let contracts = String::from_utf8(records["customers.yaml"].clone()).unwrap();
    figures.retain(|figure| figure.len() >= 5 && !contracts.contains(figure.as_str()));
    figures
}

/// Those of them that stand for money, files and notes in a site's own report, which tells of chances and of losses in
/// pipes, and how it reckoned.
/// Such a report has no money in it at all.
const MONEY_WORDS: [&str; 11] =
    ["margin", "cost", "profit", "wage", "purchase", "note:", ".yaml", ".csv", "sites/", "£", "gbp"];

fn scan(pdf: &Pdf, raw: &Path, words: &[&str], figures: &BTreeSet<String>, what: &str) {
    let said = format!("{} {} {}", pdf.text(), pdf.title(), pdf.metadata()).to_lowercase();
    // The word `cost` may stand in no customer's file, nor any other of these.
    let said = said.replace("costume", "");
    for word in words {
        let found = said.split_once(word).map(|(before, _)| before.chars().rev().take(80).collect::<Vec<char>>());
        let before = found.map(|chars| chars.into_iter().rev().collect::<String>());
        assert!(before.is_none(), "{what}: the word {word:?} behind {before:?}");
    }
    for figure in figures {
        assert!(!said.contains(figure.as_str()), "{what}: the figure {figure}");
    }
    // The data a view is made from is not carried along.
    let bytes = std::fs::read(raw).unwrap();
    assert!(!bytes.windows(9).any(|window| window == b"data.json"), "{what}");
}

#[test]
fn a_customer_gets_nothing_of_the_inside() {
    for site in SITES {
        let figures = inside_figures(site);
        assert!(figures.len() > 30, "{site}: {figures:?}");
        let path = folder(site).join("quote.pdf");
        assert!(Pdf::open(&path).pages() <= 2, "{site}");
        scan(&Pdf::open(&path), &path, &INSIDE_WORDS, &figures, site);
        // The same scan finds the inside where it is, so that it can fail.
        let inside = Pdf::open(&folder(site).join("inside.pdf")).text().to_lowercase();
        assert!(inside.contains("margin") && inside.contains("yearsin5") && inside.contains("officeonly"));
    }
}

/// Two pages also where ten pumps of long names stand in two spas with all that wears, on either paper.
#[test]
fn a_quote_for_ten_pumps_is_two_pages() {
    let mut site = String::from("format: 1\nname: The Long Hall\nuse: gym\nspas:\n");
    for spa in ["courtyard-of-the-old-mill", "upper-terrace-by-the-lake"] {
        site.push_str(&format!(
            "  {spa}:\n    volume: 4000 L\n    fitted: 2023-06-01\n    filters: {{main: {{kind: cartridge, area: 9 m2}}, second: \
             {{kind: sand, area: 0.5 m2}}}}\n    equipment: {{heater: {{kind: heater}}, cover: {{kind: cover}}}}\n    pumps:\n      \
             filtration: {{model: F-033, duty: filtration, program: {{run: 24 h/day}}}}\n"
        ));
        for jets in 1..5 {
            site.push_str(&format!(
                "      jets-{jets}-of-the-long-bench: {{model: F-033, duty: jets, program: {{run: {jets} h/day}}}}\n"
            ));
        }
    }
    site.push_str("log:\n  - {date: 2026-03-01, at: {courtyard-of-the-old-mill: {ph: 7.4}}}\n");
    for paper in ["a4", "us-letter"] {
        let fleet = Fleet::without_sites().file("sites/long-hall.yaml", &site);
        let settings = fleet.path().join("fleet.yaml");
        let text = std::fs::read_to_string(&settings).unwrap();
        std::fs::write(&settings, format!("{text}paper: {paper}\nlabour: {{cost: 23.00, charge: 46.00, callout: 95.00}}\ntax: {{name: VAT, rate: 0.20}}\n")).unwrap();
        let out = tempfile::tempdir().unwrap();
        let to = out.path().to_str().unwrap();
        let path = fleet.path().to_str().unwrap();
        Run::of(&["quote", path, "--year", "2027", "--month", "2026-03", "--draws", "100", "--out", to])
            .expect_status(0);
        let pdf = Pdf::open(&out.path().join("quotes/2027/long-hall/quote.pdf"));
        assert_eq!(pdf.pages(), 2, "{paper}");
        for owed in ["jets4ofthelongbench", "shaftseal", "cartridge", "renewed,as", "Acceptance", "Signature"] {
            assert!(pdf.text().replace('\n', "").contains(owed), "{paper}: {owed} in {}", pdf.text());
        }
    }
}

#[test]
fn statements_hold_nothing_of_the_inside_either() {
    let customers = super::demo::run().month().join("customers");
    let mut seen = 0;
    for entry in std::fs::read_dir(customers).unwrap() {
        let path = entry.unwrap().path().join("statement.pdf");
        scan(&Pdf::open(&path), &path, &INSIDE_WORDS, &inside_figures("heron-gym"), &path.display().to_string());
        seen += 1;
    }
    assert_eq!(seen, 5);
}

/// The demo with its reports for customers: a whole month, as they get it.
fn for_customers(month: &str) -> Run {
    let fleet = tempfile::tempdir().unwrap();
    for (path, bytes) in contents(&demo()) {
        let target = fleet.path().join(&path);
        std::fs::create_dir_all(target.parent().unwrap()).unwrap();
        std::fs::write(target, bytes).unwrap();
    }
    let file = fleet.path().join("fleet.yaml");
    let text = std::fs::read_to_string(&file).unwrap();
    std::fs::write(&file, text.replace("reports_for: office", "reports_for: customer")).unwrap();
    let out = tempfile::tempdir_in(env!("CARGO_TARGET_TMPDIR")).unwrap();
    let folder = out.path().to_string_lossy().into_owned();
    let mut run =
        Run::of(&["report", fleet.path().to_str().unwrap(), "--month", month, "--out", &folder]).expect_status(0);
    run.out = out;
    run
}

/// What technicians noted, as a PDF's text has it: without blanks.
fn notes() -> BTreeSet<String> {
    let note = regex::Regex::new(r#"\bnote: (?:"([^"]+)"|([^,}\n]+))"#).unwrap();
    let mut notes = BTreeSet::new();
    for (path, bytes) in contents(&demo()) {
        if path.starts_with("sites/") && path.ends_with(".yaml") {
            for found in note.captures_iter(&String::from_utf8(bytes).unwrap()) {
                let text = found.get(1).or(found.get(2)).unwrap().as_str();
                notes.insert(text.to_lowercase().split_whitespace().collect());
            }
        }
    }
    notes
}

/// Every document of a month that a customer is handed: the site's report, its log book, the statement.
#[test]
fn no_document_of_a_customer_in_any_month_holds_the_inside() {
    let (figures, notes) = (inside_figures("heron-gym"), notes());
    assert!(figures.len() > 30 && notes.len() > 10, "{figures:?} {notes:?}");
    // A PDF's text has no blanks, so that measurements side by side may look like a short figure.
    let long: BTreeSet<String> = figures.iter().filter(|figure| figure.len() >= 6).cloned().collect();
    for month in ["2026-04", "2026-10"] {
        let run = for_customers(month);
        let folder = run.out.path().join(month);
        let mut seen = 0;
        for (path, _) in contents(&folder).iter().filter(|(path, _)| path.ends_with(".pdf")) {
            let of_customer = ["report.pdf", "logbook.pdf", "statement.pdf"].iter().any(|name| path.ends_with(name));
            if !of_customer || path.as_str() == "fleet.pdf" {
                continue;
            }
            let (file, what) = (folder.join(path), format!("{month}: {path}"));
            let pdf = Pdf::open(&file);
            if path.ends_with("statement.pdf") {
                scan(&pdf, &file, &INSIDE_WORDS, &figures, &what);
            } else {
                scan(&pdf, &file, &MONEY_WORDS, &long, &what);
            }
            let said = pdf.text().to_lowercase();
            for note in &notes {
                assert!(!said.contains(note.as_str()), "{what}: the note {note}");
            }
            seen += 1;
        }
        assert_eq!(seen, 2 * SITES.len() + 5, "{month}");
        // The scan finds the inside where it is: the office's own report has costs and notes.
        let office = Pdf::open(&folder.join("fleet.pdf")).text().to_lowercase();
        assert!(office.contains("cost"), "{month}");
    }
    let office = Pdf::open(&super::demo::run().month().join("sites/heron-gym/report.pdf")).text().to_lowercase();
    assert!(notes.iter().any(|note| office.contains(note.as_str())));
}

/// One contract has one price: the quote's, its inside sheet's, and, within the error it tells, that of the fleet's report.
#[test]
fn the_three_papers_give_one_price_within_the_error_they_tell() {
    let month = super::demo::run().month();
    let contracts = Table::read(&month.join("tables/contracts.csv"));
    let fleet = Pdf::open(&month.join("fleet.pdf")).text();
    let told = regex::Regex::new(r"([0-9]+)±([0-9]+)").unwrap();
    let mut seen = 0;
    for row in contracts.rows.iter().filter(|row| !row.get("site").is_empty()) {
        let site = row.get("site");
        let quoted = Table::read(&folder(site).join("costs.csv"));
        let of_scope = quoted.rows.iter().find(|of| of.get("scope") == row.get("scope")).unwrap();
        let (price, next) = (of_scope.number("price"), row.number("next_price"));
        // This quote draws no more than the report: the same years, the same price to the last coin.
        assert!((price - next).abs() < 0.011, "{site}: {price} and {next}");
        let inside = Pdf::open(&folder(site).join("inside.pdf")).text();
        assert!(inside.contains(&format!("istheonequotedhere,£{price:.2}")), "{site}: {inside}");
        let error = 2.0 * row.number("next_price_error");
        let told = told.captures_iter(&fleet).map(|found| {
            let number = |group: usize| found[group].parse::<f64>().unwrap();
            (number(1), number(2))
        });
        // Digits of the cells before may stand before the price in the PDF's text.
        let held = |(about, within): (f64, f64)| {
            let about = about % 10f64.powi(next.log10() as i32 + 1);
            (about - next).abs() + error <= within + 1.0 + within / 10.0 && within >= error
        };
        assert!(told.into_iter().any(held), "{site}: {next} ± {error}");
        seen += 1;
    }
    assert_eq!(seen, 3);
}

/// The sheet of a customer's sites together traces their spread as that of one site does; the sheet of one of them says that
/// its contract's figures are of all, in the currency's sign.
#[test]
fn a_customers_inside_sheet_has_all_that_a_sites_has() {
    let fleet = demo().to_string_lossy().into_owned();
    let out = tempfile::tempdir().unwrap();
    let to = out.path().to_string_lossy().into_owned();
    let mut arguments = vec!["quote", &fleet, "--year", "2027", "--month", MONTH, "--draws", "300", "--out", &to];
    arguments.extend(["--customer", "reedbank-stays"]);
    Run::of(&arguments).expect_status(0);
    let all = Pdf::open(&out.path().join("quotes/2027/customers/reedbank-stays/inside.pdf")).text();
    let one = Pdf::open(&folder("alder-lodge").join("inside.pdf")).text();
    let row = regex::Regex::new("Shaftseal[0-9]+%").unwrap();
    for (what, text) in [("all", &all), ("one", &one)] {
        let traced = text.split_once("Wherethespreadcomesfrom").unwrap_or_else(|| panic!("{what}: {text}")).1;
        assert!(row.is_match(traced.split_once("Therunningcontract").unwrap().0), "{what}: {traced}");
    }
    let whole = "Thesefiguresareofthewholecontract:AlderLodge,KingfisherBarns";
    assert!(one.contains(whole) && !all.contains("ofthewholecontract"), "{one}");
    assert!(one.contains("sitestogether:about£") && !one.contains("GBP"), "{one}");
    assert!(one.contains("movesnoneofthedraws") && one.contains("Witheachvisitatripofitsowntheywouldbe£"), "{one}");
}

/// More years drawn give the same price within the error that is told.
#[test]
fn a_longer_drawing_stays_within_the_error_told() {
    let fleet = demo().to_string_lossy().into_owned();
    let out = tempfile::tempdir().unwrap();
    let to = out.path().to_string_lossy().into_owned();
    let month = super::demo::run().month();
    for unit in [["--site", "heron-gym"], ["--customer", "reedbank-stays"]] {
        let mut arguments = vec!["quote", &fleet, "--year", "2027", "--month", MONTH, "--pdf", "none", "--out", &to];
        arguments.extend(unit);
        Run::of(&arguments).expect_status(0);
    }
    let contracts = Table::read(&month.join("tables/contracts.csv"));
    for (customer, folder) in [("stillwater-fitness", "heron-gym"), ("reedbank-stays", "customers/reedbank-stays")] {
        let row = contracts.rows.iter().find(|row| row.get("customer") == customer).unwrap();
        let quoted = Table::read(&out.path().join("quotes/2027").join(folder).join("costs.csv"));
        let of_scope = quoted.rows.iter().find(|of| of.get("scope") == row.get("scope")).unwrap();
        let off = (of_scope.number("price") - row.number("next_price")).abs();
        assert!(off <= 2.0 * row.number("next_price_error"), "{customer}: {off}");
    }
}

#[test]
fn prices_and_tax_of_the_quote_add_up() {
    for site in SITES {
        let table = Table::read(&folder(site).join("costs.csv"));
        let text = Pdf::open(&folder(site).join("quote.pdf")).text();
        for row in &table.rows {
            let amount = |name: &str| row.number(name);
            let (price, tax) = (amount("price"), amount("tax"));
            assert!((tax - price * 0.2).abs() < 0.005 + 1e-9, "{site}: {tax} on {price}");
            // price = cost covered / (1 - margin), of the demo's 80 % and 18 %.
            assert!((price - amount("total_p80") / 0.82).abs() < 0.02, "{site}: {price}");
            assert!(
                (amount("labour") + amount("parts") + amount("travel") + amount("failure_costs")
                    - amount("total_mean"))
                .abs()
                    < 0.05
            );
            for sum in [price, tax, price + tax] {
                assert!(text.contains(&format!("{sum:.2}")), "{site}: {sum:.2}");
            }
        }
    }
}

#[test]
fn other_ways_of_doing_the_year_are_told_with_their_range() {
    let lines: Vec<&str> = run().stdout.lines().collect();
    // Mean, error and range of the cost, then of the failures: the range is of so many years that it holds the mean.
    let amount = "([+\u{2212}]?[0-9.\u{a0}]+)";
    let range = format!("{amount}(?: to {amount})? in (?:[0-9]+ years of [0-9]+|all years drawn)");
    let figures = format!("cost {amount} ± {amount} \\({range}\\), failures {amount} ± {amount} \\({range}\\), price ");
    let figures = regex::Regex::new(&figures).unwrap();
    for way in ["with visits quarterly: cost", "renewing every shaft seal at the first visit: cost"] {
        let told: Vec<&&str> = lines.iter().filter(|line| line.trim_start().starts_with(way)).collect();
        assert_eq!(told.len(), SITES.len(), "{way}");
        for line in told {
            let found = figures.captures(line).unwrap_or_else(|| panic!("{line}"));
            let number =
                |group: usize| found[group].replace('\u{2212}', "-").replace('\u{a0}', "").parse::<f64>().unwrap();
            for (mean, rounded) in [(1, 0.5), (5, 0.0005)] {
                let (low, high) =
                    (number(mean + 2), found.get(mean + 3).map_or(number(mean + 2), |_| number(mean + 3)));
                assert!(low - rounded <= number(mean) && number(mean) <= high + rounded, "{line}");
            }
        }
    }
    let last = lines.last().unwrap();
    assert!(last.starts_with("All 6 quotes together: 4 years in 5 they cost less than"));
    // The price of all as one covers what they cost together, with the demo's margin of 18 %, and is less than all single ones.
    let amounts = regex::Regex::new("£\u{a0}([0-9.\u{a0}]+[0-9])").unwrap();
    let amounts: Vec<f64> =
        amounts.captures_iter(last).map(|found| found[1].replace('\u{a0}', "").parse().unwrap()).collect();
    let [covered, price, _, prices] = amounts[..] else { panic!("{last}") };
    assert!((price - covered / 0.82).abs() < 1.0 && price < prices, "{last}");
}

/// The demo renews by whichever limit is first: to ask for it changes nothing, at any site, not even a coin.
#[test]
fn a_way_that_is_what_is_written_changes_nothing() {
    let way = "renewing by the book or the fleet's own lives, whichever is first: ";
    let told: Vec<&str> = run().stdout.lines().filter_map(|line| line.trim_start().strip_prefix(way)).collect();
    assert_eq!(told.len(), SITES.len(), "{}", run().stdout);
    let number = regex::Regex::new("[1-9]").unwrap();
    for line in told {
        let figures = line.replace("in 4 years of 5", "");
        assert!(figures.starts_with("cost 0 ") && !number.is_match(&figures), "{line}");
    }
}

#[test]
fn a_quote_repeats_and_does_not_move_with_what_stands_elsewhere() {
    let fleet = tempfile::tempdir().unwrap();
    for (path, bytes) in contents(&demo()) {
        let target = fleet.path().join(&path);
        std::fs::create_dir_all(target.parent().unwrap()).unwrap();
        std::fs::write(target, bytes).unwrap();
    }
    let of = |fleet: &Path, more: &[&str]| {
        let out = tempfile::tempdir().unwrap();
        let mut arguments =
            vec!["quote", fleet.to_str().unwrap(), "--year", "2027", "--month", MONTH, "--draws", "500"];
        arguments.extend(["--pdf", "none", "--out", out.path().to_str().unwrap()]);
        arguments.extend(more);
        Run::of(&arguments).expect_status(0);
        contents(&out.path().join("quotes/2027"))
    };
    let first = of(fleet.path(), &["--site", "rowan-house"]);
    // A name mended at another site.
    let other = fleet.path().join("sites/willow-court.yaml");
    let text = std::fs::read_to_string(&other).unwrap().replace("name: Willow Court", "name: Willow  Court");
    std::fs::write(&other, text).unwrap();
    let again = of(fleet.path(), &["--site", "rowan-house"]);
    assert_eq!(first["rowan-house/costs.csv"], again["rowan-house/costs.csv"]);
    let all = of(fleet.path(), &[]);
    assert_eq!(first["rowan-house/costs.csv"], all["rowan-house/costs.csv"]);
    // All sites of a customer are quoted as one: its price is not the sum of the sites'.
    let together = of(fleet.path(), &["--customer", "reedbank-stays"]);
    assert!(together.keys().any(|path| path == "customers/reedbank-stays/costs.csv"), "{:?}", together.keys());
}

#[test]
fn what_cannot_be_quoted_says_why() {
    let fleet = demo().to_string_lossy().into_owned();
    let of = |more: &[&str]| {
        let mut arguments = vec!["quote", fleet.as_str(), "--month", MONTH, "--pdf", "none"];
        arguments.extend(more);
        Run::of(&arguments).expect_status(2).stderr
    };
    assert!(of(&["--site", "heron-gim"]).contains("did you mean `heron-gym`?"));
    assert!(of(&["--with", "visits=sometimes"]).contains("no way of doing the year"));
    assert!(of(&["--with", "renew=flux_capacitor"]).contains("the book has no part"));
    assert!(of(&["--year", "2025"]).contains("2025 is over"));
    for draws in ["0", "1", "99", "1000001", "4000000000"] {
        let said = of(&["--draws", draws]);
        assert!(said.contains("is not in 100..=1000000"), "{draws}: {said}");
    }
    for year in ["2029", "9999"] {
        let said = of(&["--year", year]);
        assert!(said.contains(&format!("{year} is too far ahead")) && said.contains("up to 2028"), "{said}");
    }
}
