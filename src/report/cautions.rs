//! The cautions every site report carries, in our own words, each with its short source and how that source is known.
//!
//! They exist because a report that says what to do to a pump must also say what can hurt whoever does it. They are
//! reminders, not instructions for the work: a caution must never replace the local code or a licensed person, must
//! not depend on the site's figures, and must not cite a source whose text nobody has seen.

use super::view::Caution;
use crate::records::fleet::Units;

/// How the text of a source is known.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum HowKnown {
    /// The text of the named source itself was read.
    Read,
    /// The text was read as another publication quotes it.
    Quoted,
    /// Usual practice of the trade; no source is cited.
    Practice,
}

/// A caution as it is kept here.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct StandingCaution {
    /// What it is about.
    pub subject: &'static str,
    /// The caution.
    pub text: &'static str,
    /// The short source, with the part of the text it stands for where that is not the whole; empty exactly when
    /// `how_known` is [`HowKnown::Practice`].
    pub source: &'static str,
    /// How the source is known.
    pub how_known: HowKnown,
}

/// The cautions in the order of print: the law and the licence first, then what comes before any work.
pub const STANDING_CAUTIONS: &[StandingCaution] = &[
    StandingCaution {
        subject: "Local code and licence come first",
        text: "The health, electrical and building codes of the place, and the makers' instructions, come before \
               anything in this report. Work on wiring, gas, pressure vessels and suction fittings belongs to those \
               whom the place licenses for it.",
        source: "",
        how_known: HowKnown::Practice,
    },
    StandingCaution {
        subject: "Isolate before work",
        text: "Switch the equipment off at its disconnect, lock it there and keep the key, let moving parts stop, \
               close the valves, let the pressure out, then try to start it and test for voltage before touching it. \
               A timer or a remote command can start a pump that looks dead.",
        source: "",
        how_known: HowKnown::Practice,
    },
    StandingCaution {
        subject: "When to close at once",
        text: "No circulation, a ground-fault or residual-current device that fails its test, a damaged suction \
               cover, or water above 40 °C (104 °F): close the spa first and look for the cause afterwards.",
        source: "Closing: operator training guidance",
        how_known: HowKnown::Quoted,
    },
    StandingCaution {
        subject: "Keep the isolation procedure alive",
        text: "Where a workplace has written isolation procedures, have each checked at least once a year by an \
               authorised person other than the one who uses it.",
        source: "Yearly check: OSHA 29 CFR 1910.147(c)(6)",
        how_known: HowKnown::Quoted,
    },
    StandingCaution {
        subject: "Disconnect within sight",
        text: "The disconnect for maintenance stands within sight of the equipment and at least 1.5 m (5 ft) from \
               the water's edge, where that rule applies.",
        source: "Place and distance: NEC 680.12 (680.13 in later editions)",
        how_known: HowKnown::Quoted,
    },
    StandingCaution {
        subject: "Emergency stop",
        text: "Other than at one-family dwellings, a switch that stops the pumps stands in sight of the spa and at \
               least 1.5 m (5 ft) from it. Try it at every visit.",
        source: "Place and distance: NEC 680.41 (2020, 2023)",
        how_known: HowKnown::Quoted,
    },
    StandingCaution {
        subject: "Suction covers and entrapment",
        text: "A missing, loose, cracked or over-age suction cover can hold a bather under water by hair, limb or \
               body. Close the spa until it is replaced with one made for that outlet and flow. A stronger pump \
               raises the flow through the cover: check it before any pump is changed.",
        source: "Closing: operator training guidance",
        how_known: HowKnown::Quoted,
    },
    StandingCaution {
        subject: "Two suction outlets",
        text: "One outlet alone must never be able to take the whole flow of a pump: at least two balanced outlets, \
               3 ft (0.9 m) apart, is the kind of rule public spas live under.",
        source: "Two outlets 3 ft apart: Montana Administrative Rules, spa circulation systems (1)(a)",
        how_known: HowKnown::Read,
    },
    StandingCaution {
        subject: "Water no hotter than 40 °C (104 °F)",
        text: "Spa water is never hotter than that. Measure it with a thermometer other than the controller's, at \
               every visit and before guests.",
        source: "The limit: UL 1563",
        how_known: HowKnown::Quoted,
    },
    StandingCaution {
        subject: "Over-temperature cut-out",
        text: "Set the thermostat within 38 to 40 °C (100 to 104 °F) and see that the separate safety cut-out acts by \
               45 °C (113 °F).",
        source: "Both settings: Royal Life Saving guideline SP14 (2017)",
        how_known: HowKnown::Read,
    },
    StandingCaution {
        subject: "Who should not soak, or not for long",
        text: "Small children, pregnant women, people with heart trouble and anyone who has been drinking: ask a \
               doctor first, keep it short, never alone.",
        source: "",
        how_known: HowKnown::Practice,
    },
    StandingCaution {
        subject: "Chemicals",
        text: "Keep acids and chlorine or bromine products apart, dry and ventilated; never mix two products, not \
               even two kinds of chlorine; add the chemical to water, never water to the chemical. Follow the \
               label and wear what it asks for.",
        source: "",
        how_known: HowKnown::Practice,
    },
    StandingCaution {
        subject: "Water-borne illness",
        text: "Legionella grows at 25 to 45 °C (77 to 113 °F), so spa water is at its temperature all day, and the \
               jets make the spray that carries it. A private spa needs the same disinfectant and pH control as a \
               public one. After a closure, disinfect before the jets are switched on.",
        source: "Growth range and private spas: CDC Legionella toolkit, hot tub module",
        how_known: HowKnown::Read,
    },
];

/// What cautions name in both systems: metric, US.
const BOTH: [(&str, &str); 6] = [
    ("40 °C", "104 °F"),
    ("38 to 40 °C", "100 to 104 °F"),
    ("45 °C", "113 °F"),
    ("25 to 45 °C", "77 to 113 °F"),
    ("1.5 m", "5 ft"),
    ("0.9 m", "3 ft"),
];

/// A text with the unit of the report first in each pair, "104 °F (40 °C)", and the other behind it.
pub fn in_order(text: &str, units: Units) -> String {
    let mut text = text.to_owned();
    for (metric, us) in BOTH {
        let (first, second) = if units == Units::Us { (us, metric) } else { (metric, us) };
        text = text.replace(&format!("{second} ({first})"), &format!("{first} ({second})"));
    }
    text
}

/// The standing cautions as a report in these units prints them.
pub fn cautions(units: Units) -> Vec<Caution> {
    STANDING_CAUTIONS.iter().map(|caution| caution.to_view(units)).collect()
}

/// What is due wherever the exchange of a pump is spoken of: the law, isolation, the covers.
pub fn before_a_pump_is_exchanged() -> impl Iterator<Item = &'static StandingCaution> {
    let due = ["Local code and licence come first", "Isolate before work", "Suction covers and entrapment"];
    STANDING_CAUTIONS.iter().filter(move |caution| due.contains(&caution.subject))
}

impl StandingCaution {
    fn to_view(self, units: Units) -> Caution {
        let source = match self.how_known {
            HowKnown::Read => format!("{} (text read)", self.source),
            HowKnown::Quoted => format!("{} (read as quoted elsewhere)", self.source),
            HowKnown::Practice => "Usual practice; no source cited".to_owned(),
        };
        Caution { subject: in_order(self.subject, units), text: in_order(self.text, units), source }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn local_code_is_first_and_isolation_second() {
        assert!(STANDING_CAUTIONS[0].subject.contains("Local code"));
        assert!(STANDING_CAUTIONS[1].subject.contains("Isolate"));
    }

    #[test]
    fn a_source_is_named_exactly_where_its_text_was_seen() {
        for caution in STANDING_CAUTIONS {
            assert_eq!(caution.source.is_empty(), caution.how_known == HowKnown::Practice, "{}", caution.subject);
        }
    }

    /// These were never seen in any text; a report must not lean on them.
    #[test]
    fn nothing_known_from_memory_only_is_cited() {
        let unseen = ["680.44", "60364", "Virginia", "A112", "ICC-16", "MAHC", "Aquatic Health", "CPSC", "NSF", "WHO"];
        for caution in cautions(Units::Metric) {
            for name in unseen {
                assert!(!caution.source.contains(name), "{} cites {name}", caution.subject);
            }
        }
    }

    #[test]
    fn the_unit_of_the_report_comes_first() {
        let of = |units| cautions(units).into_iter().map(|c| c.subject + ": " + &c.text + "\n").collect::<String>();
        let (metric, us) = (of(Units::Metric), of(Units::Us));
        for (pairs, others) in [(["°C (", " m ("], (&metric, &us)), (["°F (", " ft ("], (&us, &metric))] {
            for pair in pairs {
                assert!(others.0.contains(pair), "{pair}: {}", others.0);
                assert!(!others.1.contains(pair), "{pair}: {}", others.1);
            }
        }
        assert!(us.contains("above 104 °F (40 °C)") && us.contains("at 77 to 113 °F (25 to 45 °C)"), "{us}");
    }

    #[test]
    fn an_exchange_has_its_three_cautions() {
        assert_eq!(before_a_pump_is_exchanged().count(), 3);
    }

    #[test]
    fn every_subject_a_report_owes_is_there() {
        let all: String = cautions(Units::Metric).into_iter().map(|c| c.subject + " " + &c.text + "\n").collect();
        for owed in ["lock", "entrapment", "40 °C (104 °F)", "Legionella", "Chemicals", "licenses"] {
            assert!(all.contains(owed), "{owed}");
        }
        assert!(!all.contains("  "), "a line continuation left two spaces");
    }
}
