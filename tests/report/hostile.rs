//! Text that would be a command elsewhere, in every field that takes text: it is printed, never run, and never costs a
//! report.

use std::fmt::Write;

use crate::support::{Fleet, Run, contents};

/// What people, spreadsheets and mischief put into names.
fn texts() -> Vec<String> {
    let mut texts: Vec<String> = [
        "#read(\"/etc/passwd\")",
        "#include \"/etc/passwd\"",
        "*b* _i_ `r` = h",
        "$x^2$ $",
        "<l> @r #l",
        "\"quoted\" 'single' \\ \\n \\u{41}",
        "{{ x }} {% include \"site.typ\" %} {# c #}",
        "{{ __tera_context }}",
        "</svg><script>alert(1)</script>",
        "]]> &amp; <!-- --> &#x0;",
        "// comment /* open",
        "] ) } #[ #( #{",
        "\u{1f6c1}\u{1f469}\u{200d}\u{1f527} tub",
        "\u{6e29}\u{6cc9} \u{30b9}\u{30d1} \u{c628}\u{cc9c}",
        "bell\u{7} esc\u{1b}[31m del\u{7f} csi\u{9b}",
        "\u{202e}gpj.exe \u{5d0}\u{5d1}\u{5d2} \u{627}\u{644}",
        "=1+1",
        "+1;=cmd|' /C calc'!A0",
        "-2+3",
        "@SUM(A1)",
        "line one\nline two\r\n\tthree",
        "comma, \"quote\"; tab\there",
        "../../../../etc/passwd",
        "%PDF-1.7 %s %n ${HOME} $(id) `id`",
    ]
    .map(str::to_owned)
    .to_vec();
    texts.push("long ".repeat(1000));
    texts.push("W".repeat(5000));
    texts
}

/// Text in double quotes, which YAML and JSON share.
fn quoted(text: &str) -> String {
    serde_json::to_string(text).unwrap()
}

/// A fleet whose every text is hostile: one site for each text, and each text in every field of its site.
pub(super) fn fleet() -> Fleet {
    let texts = texts();
    let mut technicians = String::new();
    let mut customers = String::new();
    let mut models = String::new();
    let mut types = String::new();
    let mut fleet = Fleet::empty();
    for (number, text) in texts.iter().enumerate() {
        let (whole, name) = (quoted(text), quoted(&format!("{number} {}", text.chars().take(36).collect::<String>())));
        let _ = writeln!(technicians, "  by-{number}: {{name: {whole}}}");
        let _ = writeln!(customers, "  for-{number}: {{name: {whole}, address: {whole}}}");
        let _ = writeln!(
            models,
            "  {name}: {{speeds: 1, frame: {whole}, power: 0.33 hp, supply: {{voltage: 230 V}}, \
             curve: [{{flow: 0 L/min, head: 7.6 m}}, {{flow: 90 L/min, head: 5.8 m}}, {{flow: 150 L/min, head: 2.9 m}}]}}"
        );
        let _ = writeln!(
            types,
            "  {name}: {{volume: 1200 L, filters: {{main: {{kind: cartridge, area: 9 m2, clean_pressure: 0.3 bar}}}}}}"
        );
        let site = format!(
            "format: 1
name: {whole}
customer: for-{number}
use: rental
area: {whole}
address: {whole}
contact: {{name: {whole}, phone: {whole}}}
key: {whole}
note: {whole}
spas:
  terrace:
    type: {name}
    note: {whole}
    fitted: 2020
    pumps:
      filtration: {{model: {name}, duty: filtration, note: {whole}}}
      jets-1: {{model: {name}, duty: jets, program: {{run: 1 h/day}}}}
log:
  - date: 2026-01-31
    by: by-{number}
    note: {whole}
    at:
      terrace: {{ph: 7.9, note: {whole}}}
      terrace/main: {{pressure: 0.4, flow: 60}}
      terrace/filtration: {{hours: 1000}}
  - date: 2026-02-10
    by: by-{number}
    why: callout
    at:
      terrace/filtration: {{renewed: {{shaft_seal: {{because: failure, found: {whole}}}}}, note: {whole}}}
      terrace/jets-1: {{exchanged: {{because: failure, model: {name}, found: {whole}}}}}
    used: {{{name}: 1}}
  - date: 2026-03-31
    by: by-{number}
    at:
      terrace: {{ph: 7.9, free_chlorine: 9}}
      terrace/filtration: {{hours: 2300}}
      terrace/main: {{repaired: {{cartridge: {{found: {whole}}}}}}}
    left: [{{at: terrace/main, note: {whole}, quote: true}}]
"
        );
        fleet = fleet.file(&format!("sites/site-{number}.yaml"), site);
    }
    let all = quoted(&texts[..24].join(" "));
    fleet
        .file(
            "fleet.yaml",
            format!(
                "format: 1\nfleet: {all}\nprepared_by: {all}\ncurrency: GBP\ntimezone: Europe/London\nlimits: uk\n\
                 electricity: 0.25\nnote: {all}\ntechnicians:\n{technicians}"
            ),
        )
        .file("customers.yaml", format!("format: 1\ncustomers:\n{customers}"))
        .file("pumps.yaml", format!("format: 1\nmodels:\n{models}"))
        .file("tubs.yaml", format!("format: 1\ntypes:\n{types}"))
}

#[test]
fn hostile_text_is_printed_and_costs_nothing() {
    let fleet = fleet();
    let run = Run::report(fleet.path(), "2026-03", &[]).expect_status(0);
    let passwd = std::fs::read_to_string("/etc/passwd").unwrap_or_default();
    let secret: String = passwd.lines().next().unwrap_or("root:x:0:0").chars().filter(|c| !c.is_whitespace()).collect();
    for (number, text) in texts().iter().enumerate() {
        let pdf = run.pdf(&format!("site-{number}"));
        assert!(pdf.pages() > 0);
        assert!(!pdf.text().contains(&secret), "site-{number}: {text} was read");
    }
    // Printed as it was written, where the font has it.
    for (number, shown) in [
        (0, "#read(\"/etc/passwd\")"),
        (2, "*b*_i_`r`=h"),
        (3, "$x^2$$"),
        (4, "<l>@r#l"),
        (6, "{{x}}{%include\"site.typ\"%}{#c#}"),
        (8, "</svg><script>alert(1)</script>"),
        (11, "])}#[#(#{"),
        (16, "=1+1"),
    ] {
        let text = run.pdf(&format!("site-{number}")).text();
        assert!(text.contains(shown), "site-{number} does not print {shown}");
    }
    assert!(run.pdf("site-13").text().contains('□'), "what the font lacks is shown as lacking");
    // Told once, with the documents it is in.
    let told: Vec<&str> = run.stderr.lines().filter(|line| line.contains("site-13: texts with characters")).collect();
    assert!(matches!(told[..], [line] if line.contains("report.pdf")), "{}", run.stderr);
}

#[test]
fn hostile_text_stays_text_in_tables_and_charts_and_messages() {
    let fleet = fleet();
    let run = Run::report(fleet.path(), "2026-03", &["--pdf", "none"]).expect_status(0);
    let mut cells = 0;
    for (path, bytes) in contents(&run.month()) {
        let ending = path.rsplit('.').next().unwrap();
        // The workbook is no text; its own test looks into it.
        if ending == "xlsx" {
            continue;
        }
        let text = String::from_utf8(bytes).unwrap();
        if ending == "csv" {
            let table = crate::support::Table::read(&run.month().join(&path));
            for cell in table.rows.iter().flat_map(crate::support::table::Row::cells) {
                cells += 1;
                let number = cell.parse::<f64>().is_ok();
                assert!(number || !cell.starts_with(['=', '+', '-', '@', '\t', '\r']), "{path}: {cell}");
                assert!(!cell.contains(char::is_control), "{path}: {cell:?}");
            }
        }
        if ending == "html" {
            assert_eq!(text.matches("<script").count(), 1, "{path}");
        }
        if ending == "svg" {
            assert_eq!(text.matches("</svg>").count(), 1, "{path}");
            assert!(!text.contains("<script"), "{path}");
        }
    }
    assert!(cells > 1000, "{cells} cells are too few to show anything");
    let unprintable = |c: char| c.is_control() && c != '\n';
    assert!(!run.stderr.contains(unprintable), "{:?}", run.stderr);
}

#[test]
fn messages_about_hostile_text_cannot_drive_a_terminal() {
    let site = "format: 1\nname: Quay\nuse: \"\\e[31m\\a ren\\ttal\"\nspas: {}\n\"\\e[2J\": 1\n";
    let fleet = Fleet::without_sites().file("sites/quay-house.yaml", site);
    for format in ["short", "full", "json"] {
        let run = Run::check(fleet.path(), &["--format", format]).expect_status(1);
        for said in [&run.stdout, &run.stderr] {
            assert!(!said.contains(|c: char| c.is_control() && c != '\n' && c != '\t'), "{format}: {said:?}");
        }
    }
}
