//! The look, checked by computation: contrast, and what the palette is to readers who see colours differently.

use crate::support::project;

/// A colour in linear light, 0 to 1.
type Light = [f64; 3];

fn linear(hex: &str) -> Light {
    let part = |at: usize| {
        let value = f64::from(u8::from_str_radix(&hex[at..at + 2], 16).unwrap()) / 255.0;
        // IEC 61966-2-1.
        if value <= 0.04045 { value / 12.92 } else { ((value + 0.055) / 1.055).powf(2.4) }
    };
    [part(0), part(2), part(4)]
}

/// Relative luminance and contrast as WCAG 2.2 defines them.
fn contrast(one: Light, other: Light) -> f64 {
    let luminance = |c: Light| 0.2126 * c[0] + 0.7152 * c[1] + 0.0722 * c[2];
    let (a, b) = (luminance(one), luminance(other));
    (a.max(b) + 0.05) / (a.min(b) + 0.05)
}

fn lab(c: Light) -> [f64; 3] {
    let xyz = [
        0.412_456_4 * c[0] + 0.357_576_1 * c[1] + 0.180_437_5 * c[2],
        0.212_672_9 * c[0] + 0.715_152_2 * c[1] + 0.072_175_0 * c[2],
        0.019_333_9 * c[0] + 0.119_192_0 * c[1] + 0.950_304_1 * c[2],
    ];
    let white = [0.950_47, 1.0, 1.088_83];
    let f = |t: f64| if t > 216.0 / 24389.0 { t.cbrt() } else { (24389.0 / 27.0 * t + 16.0) / 116.0 };
    let [x, y, z] = [0, 1, 2].map(|at| f(xyz[at] / white[at]));
    [116.0 * y - 16.0, 500.0 * (x - y), 200.0 * (y - z)]
}

/// The colours of a file by name, as they are written there.
fn named(text: &str, before: &str, between: &str) -> Vec<(String, String)> {
    text.match_indices(between)
        .filter_map(|(at, _)| {
            let start = text[..at].rfind(before)? + before.len();
            let name = &text[start..at];
            let hex = text.get(at + between.len()..at + between.len() + 6)?;
            let plain = name.chars().all(|c| c.is_ascii_alphanumeric() || c == '-');
            (plain && hex.chars().all(|c| c.is_ascii_hexdigit())).then(|| (name.to_owned(), hex.to_owned()))
        })
        .collect()
}

fn read(path: &str) -> String {
    std::fs::read_to_string(project().join(path)).unwrap()
}

#[test]
fn page_and_document_share_one_palette() {
    let document = named(&read("templates/layout.typ"), "#let ", " = rgb(\"#");
    let page = named(&read("templates/index.html.tera"), "--", ": #");
    assert!(document.len() >= 7, "{document:?}");
    for (name, hex) in &page {
        let name = if name == "line" { "line-grey" } else { name };
        assert!(document.contains(&(name.to_owned(), hex.clone())), "{name} #{hex} is not in {document:?}");
    }
}

#[test]
fn every_colour_of_text_has_contrast_on_paper_and_on_the_tint() {
    let colours = named(&read("templates/layout.typ"), "#let ", " = rgb(\"#");
    let of = |name: &str| linear(&colours.iter().find(|(known, _)| known == name).unwrap().1);
    for name in ["ink", "accent", "act", "plan", "grey"] {
        for (ground, light) in [("paper", linear("ffffff")), ("the tint", of("tint"))] {
            let found = contrast(of(name), light);
            assert!(found >= 4.5, "{name} on {ground}: {found:.2} : 1");
        }
    }
}

#[test]
fn the_palette_holds_for_readers_who_see_colours_differently() {
    // Machado, Oliveira and Fernandes 2009, severity 1: protanopia, deuteranopia, tritanopia; in linear light.
    let simulations: [(&str, [[f64; 3]; 3]); 4] = [
        ("as it is", [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]]),
        (
            "protanopia",
            [
                [0.152_286, 1.052_583, -0.204_868],
                [0.114_503, 0.786_281, 0.099_216],
                [-0.003_882, -0.048_116, 1.051_998],
            ],
        ),
        (
            "deuteranopia",
            [[0.367_322, 0.860_646, -0.227_968], [0.280_085, 0.672_501, 0.047_413], [-0.011_820, 0.042_940, 0.968_881]],
        ),
        (
            "tritanopia",
            [
                [1.255_528, -0.076_749, -0.178_779],
                [-0.078_411, 0.930_809, 0.147_602],
                [0.004_733, 0.691_367, 0.303_900],
            ],
        ),
    ];
    let colours = named(&read("templates/layout.typ"), "#let ", " = rgb(\"#");
    let of = |name: &str| linear(&colours.iter().find(|(known, _)| known == name).unwrap().1);
    for (who, matrix) in simulations {
        let seen = |name: &str| {
            let c = of(name);
            lab([0, 1, 2].map(|row| (0..3).map(|at| matrix[row][at] * c[at]).sum::<f64>().clamp(0.0, 1.0)))
        };
        let apart = |a: &str, b: &str| {
            let (a, b) = (seen(a), seen(b));
            (0..3).map(|at| (a[at] - b[at]).powi(2)).sum::<f64>().sqrt()
        };
        // Bars of charts are told apart by these alone until one reads the triangle over them.
        for (a, b) in [("accent", "act"), ("accent", "plan"), ("accent", "line-grey"), ("act", "line-grey")] {
            assert!(apart(a, b) >= 20.0, "{who}: {a} and {b} are {:.1} apart", apart(a, b));
        }
        // Brick and amber come near each other: they never stand without their shapes, a triangle or square and a disc.
        assert!(apart("act", "plan") >= 8.0, "{who}: {:.1}", apart("act", "plan"));
    }
}
