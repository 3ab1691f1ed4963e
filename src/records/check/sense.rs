//! Rules about what makes no sense where it stands: a reading at a place that has no such thing,
//! a stretch of days that ends before it begins, a share by which no price can be made.

use crate::diagnostic::{Diagnostic, Rule, Severity};
use crate::records::Fleet;
use crate::records::log::{Entry, Quantity};
use crate::records::tree::{Folder, LARGEST_RECORD};

/// The shares of years that a price may cover: a few hundred years tell those and no more.
const COVERS: std::ops::RangeInclusive<f64> = 0.5..=0.99;
/// Margins are less than this share of the price: above, a price is more than twenty times its cost.
const MARGIN_BELOW: f64 = 0.95;

/// The first reading of an entry that nothing at such a place can show, and where it belongs.
pub(super) fn out_of_place(fleet: &Fleet, fits: &str, entry: &Entry) -> Option<(Quantity, &'static str)> {
    let typed = fleet.typed_units();
    let after = entry.after.readings(&typed);
    entry
        .before
        .readings(&typed)
        .chain(after)
        .find_map(|(quantity, _)| belongs_elsewhere(quantity, fits).map(|belongs| (quantity, belongs)))
}

/// Where a quantity is read, if not at what a part's `fits` calls so.
pub(super) fn belongs_elsewhere(quantity: Quantity, fits: &str) -> Option<&'static str> {
    let belongs = belongs(quantity)?;
    // A counter or an ammeter may also serve other equipment.
    let counter_elsewhere = belongs == "pump" && !matches!(fits, "spa" | "filter");
    (fits != belongs && !counter_elsewhere).then_some(belongs)
}

fn belongs(quantity: Quantity) -> Option<&'static str> {
    match quantity {
        Quantity::Hours | Quantity::HoursLow | Quantity::HoursHigh | Quantity::Current | Quantity::CurrentLow => {
            Some("pump")
        }
        // A gauge, a flow meter and a thermometer may sit anywhere in the loop.
        Quantity::Pressure | Quantity::Flow | Quantity::Temperature => None,
        _ => Some("spa"),
    }
}

/// Contracts and leave that end before they begin.
pub(super) fn ends_before_start(fleet: &Fleet, folder: &Folder) -> Vec<Diagnostic> {
    let mut wrong: Vec<(&str, String, String)> = Vec::new();
    for (id, customer) in &fleet.customers {
        let Some(contract) = &customer.contract else { continue };
        if let (Some(from), Some(to)) = (contract.from, contract.to)
            && to < from
        {
            let message = format!("the contract of `{id}` ends on {to}, before it begins on {from}");
            wrong.push(("customers.yaml", format!("customers.{id}.contract.to"), message));
        }
    }
    for (id, technician) in fleet.settings.technicians.iter() {
        for (index, leave) in technician.leave.iter().enumerate() {
            if leave.to < leave.from {
                let message = format!("the leave of `{id}` ends on {}, before it begins on {}", leave.to, leave.from);
                wrong.push(("fleet.yaml", format!("technicians.{id}.leave[{index}].to"), message));
            }
        }
    }
    wrong
        .into_iter()
        .map(|(file, path, message)| {
            let mut diagnostic = super::plain(Severity::Error, Rule::EndsBeforeStart, file, message);
            if let Ok(source) = folder.text(file, LARGEST_RECORD) {
                diagnostic.spot = source.find_text(&path);
                diagnostic.excerpt = diagnostic.spot.and_then(|spot| source.line(spot.line));
            }
            diagnostic
        })
        .collect()
}

/// Shares in `quote` by which no price can be made.
pub(super) fn quote_shares(fleet: &Fleet, folder: &Folder) -> Vec<Diagnostic> {
    let quote = &fleet.settings.quote;
    let covers = quote.covers.filter(|share| !COVERS.contains(&share.0)).map(|share| {
        let message = format!("`covers` is {}, a share of the years for which drawing them gives no price", share.0);
        ("quote.covers", message, format!("a share from {} to {}, like `0.80`", COVERS.start(), COVERS.end()))
    });
    let margin = quote.margin.filter(|share| share.0 >= MARGIN_BELOW).map(|share| {
        let message = format!("`margin` is {}, which leaves next to nothing of the price for the cost", share.0);
        ("quote.margin", message, format!("a share of the price below {MARGIN_BELOW}, like `0.20`"))
    });
    covers
        .into_iter()
        .chain(margin)
        .map(|(path, message, hint)| {
            let mut diagnostic = super::plain(Severity::Error, Rule::QuoteShare, "fleet.yaml", message);
            super::place(&mut diagnostic, folder, path);
            diagnostic.hint = Some(hint);
            diagnostic
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use crate::diagnostic::Diagnostic;
    use crate::records::load::{LoadError, Shared};

    fn said(log: &str, more: &[(&str, &str)]) -> Vec<String> {
        let folder = tempfile::tempdir().unwrap();
        let write = |name: &str, text: &str| fs_err::write(folder.path().join(name), text).unwrap();
        fs_err::create_dir(folder.path().join("sites")).unwrap();
        write("fleet.yaml", "format: 1\nfleet: Invented\ncurrency: GBP\ntimezone: Europe/London\n");
        write(
            "sites/quay.yaml",
            &format!(
                "format: 1\nspas: {{a: {{fitted: 2022, filters: {{main: {{kind: cartridge}}}}, pumps: {{p: {{duty: filtration, program: {{run: 8 h/day}}}}}}}}}}\nlog:\n{log}"
            ),
        );
        for (name, text) in more {
            write(name, text);
        }
        let shared = match Shared::load(folder.path()) {
            Ok(shared) => shared,
            Err(LoadError::Unusable(_, diagnostics)) => return diagnostics.iter().map(Diagnostic::one_line).collect(),
            Err(error) => panic!("{error}"),
        };
        let mut all = shared.diagnostics.clone();
        match shared.read_site(&shared.sites[0]) {
            Ok(site) => all.extend(site.diagnostics),
            Err(diagnostics) => all.extend(diagnostics),
        }
        all.iter().map(Diagnostic::one_line).collect()
    }

    #[test]
    fn a_reading_stands_where_it_can_be_taken() {
        let fine =
            "  - {date: 2026-01-02, at: {a: {ph: 7.4}, a/p: {hours: 10, current: 2}, a/main: {pressure: 0.4}}}\n";
        assert_eq!(said(fine, &[]), Vec::<String>::new());
        let wrong = said("  - {date: 2026-01-02, at: {a: {hours: 10}, a/p: {ph: 7.4}}}\n", &[]);
        assert_eq!(wrong.len(), 2, "{wrong:?}");
        assert!(wrong[0].contains("`hours` is read at a pump, and `a` is a spa"), "{wrong:?}");
        assert!(wrong[1].contains("`ph` is read at a spa, and `a/p` is a pump"), "{wrong:?}");
        let wrong = said("  - {date: 2026-01-02, at: {a/p: {deferred: {shaft_zeal: 2026-03-01}}}}\n", &[]);
        assert!(wrong[0].contains("the book has no part `shaft_zeal`"), "{wrong:?}");
    }

    #[test]
    fn a_stretch_ends_after_it_begins() {
        let customers = "format: 1\ncustomers:\n  bay: {contract: {from: 2026-12-31, to: 2026-01-01}}\n";
        let fleet = "format: 1\nfleet: Invented\ncurrency: GBP\ntimezone: Europe/London\ntechnicians: {dan: {leave: [{from: 2026-12-21, to: 2026-12-02}]}}\n";
        let all = said("  []\n", &[("customers.yaml", customers), ("fleet.yaml", fleet)]);
        assert_eq!(all.len(), 2, "{all:?}");
        assert!(all.iter().all(|line| line.contains("ends-before-start")), "{all:?}");
        assert!(all[0].starts_with("customers.yaml:3:"), "{all:?}");
    }
}
