//! `fleet.pdf`: the manager's report, of the demo and of fleets with more and with nothing to say.

use super::demo::run;
use crate::support::{Fleet, Pdf, Run};

#[test]
fn the_fleets_report_can_be_used_by_readers_of_all_kinds_and_says_what_the_contract_asks() {
    let pdf = Pdf::open(&run().month().join("fleet.pdf"));
    assert!((4..=8).contains(&pdf.pages()), "{} pages", pdf.pages());
    assert_eq!(pdf.title(), "Wrenfold Spa Care: report of the fleet for October 2026");
    assert!(pdf.language().starts_with("en") && pdf.is_tagged());
    let metadata = pdf.metadata();
    // ISO 14289-1 and ISO 19005-3, level A.
    for claim in
        ["<pdfuaid:part>1</pdfuaid:part>", "<pdfaid:part>3</pdfaid:part>", "<pdfaid:conformance>A</pdfaid:conformance>"]
    {
        assert!(metadata.contains(claim), "{claim}");
    }
    let text = pdf.text();
    for wanted in [
        "Of6sites",
        "Sitesthatneedadecision",
        "Workofthecomingmonth",
        "Money",
        "Whatstandsout",
        "Howgoodtheforecastswere",
        "Allsites",
        "Cautions",
        "Lastmonthbesidethisone",
    ] {
        assert!(text.contains(wanted), "no {wanted}");
    }
    for site in ["AlderLodge", "HeronGym", "KingfisherBarns", "LapwingClub", "RowanHouse", "WillowCourtHotel"] {
        assert!(text.contains(site), "{site}");
    }
}

#[test]
fn a_fleet_with_little_to_say_has_a_short_report() {
    let run = Run::report(Fleet::small().path(), "2026-03", &[]).expect_status(0);
    let pdf = Pdf::open(&run.month().join("fleet.pdf"));
    assert!(pdf.pages() <= 4, "{} pages", pdf.pages());
}
