//! The Tera set-up: embedded templates, the escape functions, and from a view to the text of `site.typ` or `index.html`.
//!
//! Two engines share the work. Tera, here, chooses which sections stand; Typst, in `layout.typ`, sets the words, which
//! it reads from `data.json`. Record text therefore never becomes markup. Should a template print a value all the same,
//! the escape function makes it harmless in Typst markup and in a Typst string alike. This module must not write
//! files, must not format numbers, and must not offer templates a way round the escape.

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::io::{self, Write};

use serde::Serialize;
use tera::{Context, Tera};

use super::fleet_view::FleetView;
use super::index::IndexView;
use super::inside_view::InsideView;
use super::logbook_view::LogBookView;
use super::quote_view::QuoteView;
use super::statement_view::StatementView;
use super::view::SiteView;
use super::visits_view::VisitsView;

/// Plain Typst, never seen by Tera; to be written beside the rendered file under the name `layout.typ`.
pub const LAYOUT: &str = include_str!("../../templates/layout.typ");

/// The same for the log book, beside [`LAYOUT`], under the name `logbook-layout.typ`.
pub const LOGBOOK_LAYOUT: &str = include_str!("../../templates/logbook-layout.typ");

/// The same for the work sheets, under the name `visits-layout.typ`.
pub const VISITS_LAYOUT: &str = include_str!("../../templates/visits-layout.typ");
/// The same for a customer's statement, under the name `statement-layout.typ`.
pub const STATEMENT_LAYOUT: &str = include_str!("../../templates/statement-layout.typ");
/// The same for the fleet's report, under the name `fleet-layout.typ`.
pub const FLEET_LAYOUT: &str = include_str!("../../templates/fleet-layout.typ");

/// The same for a customer's quote, beside [`LAYOUT`] and [`STATEMENT_LAYOUT`], under the name `quote-layout.typ`.
pub const QUOTE_LAYOUT: &str = include_str!("../../templates/quote-layout.typ");

/// The same for the inside sheet of a quote, under the name `inside-layout.typ`.
pub const INSIDE_LAYOUT: &str = include_str!("../../templates/inside-layout.typ");

/// Names and texts of the embedded templates. The name decides the escaping: it has to end in [`ESCAPED_SUFFIX`].
const EMBEDDED: &[(&str, &str)] = &[
    (SITE, include_str!("../../templates/site.typ.tera")),
    (LOGBOOK, include_str!("../../templates/logbook.typ.tera")),
    (VISITS, include_str!("../../templates/visits.typ.tera")),
    (STATEMENT, include_str!("../../templates/statement.typ.tera")),
    (QUOTE, include_str!("../../templates/quote.typ.tera")),
    (INSIDE, include_str!("../../templates/inside.typ.tera")),
    (INDEX, include_str!("../../templates/index.html.tera")),
    (FLEET, include_str!("../../templates/fleet.typ.tera")),
];

/// Names and texts of the layouts: plain Typst, which Tera never sees.
const LAYOUTS: &[(&str, &str)] = &[
    ("layout.typ", LAYOUT),
    ("logbook-layout.typ", LOGBOOK_LAYOUT),
    ("visits-layout.typ", VISITS_LAYOUT),
    ("statement-layout.typ", STATEMENT_LAYOUT),
    ("fleet-layout.typ", FLEET_LAYOUT),
    ("quote-layout.typ", QUOTE_LAYOUT),
    ("inside-layout.typ", INSIDE_LAYOUT),
];

const SITE: &str = "site.typ";
const LOGBOOK: &str = "logbook.typ";
const VISITS: &str = "visits.typ";
const STATEMENT: &str = "statement.typ";
const QUOTE: &str = "quote.typ";
const INSIDE: &str = "inside.typ";
const INDEX: &str = "index.html";
const FLEET: &str = "fleet.typ";
const ESCAPED_SUFFIX: &str = ".typ";
const HTML_SUFFIX: &str = ".html";
/// What the files of templates end in, beside the name of what is made from them.
const TEMPLATE_SUFFIX: &str = ".tera";

/// Why a template could not be used.
#[derive(Debug, thiserror::Error)]
pub enum TemplateError {
    /// The template's text is not valid, or its name would leave the escaping off.
    #[error("template {name}.tera cannot be used: {}", said(name, because))]
    Parse {
        /// Name of the template.
        name: String,
        /// What Tera says, with line and caret.
        because: Box<tera::Error>,
    },
    /// A template was offered under a name that is not one of ours.
    #[error("there is no template {name} to put another in the place of; there are {known}")]
    UnknownName {
        /// The name offered.
        name: String,
        /// The names there are.
        known: String,
    },
    /// The view and the template do not fit together.
    #[error("template {name}.tera does not fit its data ({about}; at hand: {fields}): {}", said(name, because))]
    Render {
        /// Name of the template.
        name: String,
        /// What the document was about.
        about: String,
        /// The fields at hand at the top of the view.
        fields: String,
        /// What Tera says, with line, caret and the fields on offer.
        because: Box<tera::Error>,
    },
}

/// What Tera says of a template, which it knows without the ending of its file.
fn said(name: &str, error: &tera::Error) -> String {
    let says = error.to_string();
    says.strip_prefix("error: ")
        .unwrap_or(&says)
        .replace(&format!("--> {name}:"), &format!("--> {name}{TEMPLATE_SUFFIX}:"))
}

/// The templates, parsed once and shared between workers.
#[derive(Clone)]
pub struct Templates {
    /// Those of documents; what they print is escaped for Typst.
    tera: Tera,
    /// Those of pages; what they print is escaped for HTML, which is Tera's own way.
    html: Tera,
    /// Layouts, by name.
    layouts: BTreeMap<&'static str, Vec<u8>>,
}

impl Templates {
    /// Parses the embedded templates.
    ///
    /// # Errors
    /// [`TemplateError::Parse`] if one of them is not valid, which a test rules out.
    pub fn embedded() -> Result<Self, TemplateError> {
        let mut tera = Tera::new();
        // Before any template is added: Tera decides on escaping when it adds one.
        tera.autoescape_on([ESCAPED_SUFFIX]);
        tera.set_escape_fn(escape_typst);
        let mut html = Tera::new();
        html.autoescape_on([HTML_SUFFIX]);
        let layouts = LAYOUTS.iter().map(|(name, text)| (*name, text.as_bytes().to_vec())).collect();
        let mut templates = Self { tera, html, layouts };
        for (name, text) in EMBEDDED {
            templates.add(name, text)?;
        }
        Ok(templates)
    }

    /// Puts a user's own template, `site.typ.tera`, or layout, `layout.typ`, in the place of an embedded one; reading the
    /// folder is the caller's part.
    ///
    /// # Errors
    /// [`TemplateError::UnknownName`] if there is no such file, [`TemplateError::Parse`] if the text is not valid.
    pub fn override_with(&mut self, file: &str, text: &str) -> Result<(), TemplateError> {
        if let Some((name, _)) = LAYOUTS.iter().find(|(name, _)| *name == file) {
            self.layouts.insert(name, text.as_bytes().to_vec());
            return Ok(());
        }
        match file.strip_suffix(TEMPLATE_SUFFIX).filter(|name| EMBEDDED.iter().any(|(known, _)| known == name)) {
            Some(name) => self.add(name, text),
            None => Err(TemplateError::UnknownName { name: file.to_owned(), known: file_names().join(", ") }),
        }
    }

    /// What a document is set from: its main file, and the layouts it stands on.
    pub fn files(&self, main: &str, text: String, layouts: &[&str]) -> Vec<(String, Vec<u8>)> {
        let mut files = vec![(main.to_owned(), text.into_bytes())];
        files.extend(self.layouts(layouts));
        files
    }

    /// Layouts as they are written into a build folder, those named and no others.
    fn layouts(&self, names: &[&str]) -> Vec<(String, Vec<u8>)> {
        let of = |name: &&str| Some(((*name).to_owned(), self.layouts.get(*name)?.clone()));
        names.iter().filter_map(of).collect()
    }

    /// The text of `site.typ` for a site.
    ///
    /// # Errors
    /// [`TemplateError::Render`] if an overriding template asks for a field the view does not have.
    pub fn render_site(&self, view: &SiteView) -> Result<String, TemplateError> {
        self.render(SITE, view)
    }

    /// The text of `logbook.typ` for a site.
    ///
    /// # Errors
    /// [`TemplateError::Render`] if an overriding template asks for a field the view does not have.
    pub fn render_logbook(&self, view: &LogBookView) -> Result<String, TemplateError> {
        self.render(LOGBOOK, view)
    }

    /// The text of `quote.typ` for a customer.
    ///
    /// # Errors
    /// [`TemplateError::Render`] if an overriding template asks for a field the view does not have.
    pub fn render_quote(&self, view: &QuoteView) -> Result<String, TemplateError> {
        self.render(QUOTE, view)
    }

    /// The text of `inside.typ` for the office.
    ///
    /// # Errors
    /// [`TemplateError::Render`] if an overriding template asks for a field the view does not have.
    pub fn render_inside(&self, view: &InsideView) -> Result<String, TemplateError> {
        self.render(INSIDE, view)
    }

    /// The text of `visits.typ` for a site.
    ///
    /// # Errors
    /// [`TemplateError::Render`] if an overriding template asks for a field the view does not have.
    pub fn render_visits(&self, view: &VisitsView) -> Result<String, TemplateError> {
        self.render(VISITS, view)
    }

    /// The text of `statement.typ` for a customer.
    ///
    /// # Errors
    /// [`TemplateError::Render`] if an overriding template asks for a field the view does not have.
    pub fn render_statement(&self, view: &StatementView) -> Result<String, TemplateError> {
        self.render(STATEMENT, view)
    }

    /// The text of `fleet.typ`.
    ///
    /// # Errors
    /// [`TemplateError::Render`] if an overriding template asks for a field the view does not have.
    pub fn render_fleet(&self, view: &FleetView) -> Result<String, TemplateError> {
        self.render(FLEET, view)
    }

    /// The text of `index.html`.
    ///
    /// # Errors
    /// [`TemplateError::Render`] if an overriding template asks for a field the view does not have.
    pub fn render_index(&self, view: &IndexView) -> Result<String, TemplateError> {
        self.render(INDEX, view)
    }

    fn add(&mut self, name: &str, text: &str) -> Result<(), TemplateError> {
        let engine = if name.ends_with(HTML_SUFFIX) { &mut self.html } else { &mut self.tera };
        engine
            .add_raw_template(name, text)
            .map_err(|error| TemplateError::Parse { name: name.to_owned(), because: Box::new(error) })
    }

    fn render(&self, name: &str, view: &impl Serialize) -> Result<String, TemplateError> {
        let failed = |error| TemplateError::of_render(name, view, error);
        let context = Context::from_serialize(view).map_err(failed)?;
        let engine = if name.ends_with(HTML_SUFFIX) { &self.html } else { &self.tera };
        engine.render(name, &context).map_err(failed)
    }
}

impl TemplateError {
    /// With what was at hand: what the document is about, and the fields at the top of its view.
    fn of_render(name: &str, view: &impl Serialize, error: tera::Error) -> Self {
        let view = serde_json::to_value(view).unwrap_or_default();
        let title = view["document"]["title"].as_str().unwrap_or("no title").to_owned();
        let fields = view.as_object().map_or_else(Vec::new, |fields| fields.keys().map(String::as_str).collect());
        Self::Render { name: name.to_owned(), about: title, fields: fields.join(", "), because: Box::new(error) }
    }
}

/// The files that a user may put in the place of ours.
pub fn file_names() -> Vec<String> {
    let templates = EMBEDDED.iter().map(|(name, _)| format!("{name}{TEMPLATE_SUFFIX}"));
    templates.chain(LAYOUTS.iter().map(|(name, _)| (*name).to_owned())).collect()
}

/// The text of `site.typ` for a site, by the embedded templates. For many sites build [`Templates`] once instead.
///
/// # Errors
/// As [`Templates::embedded`] and [`Templates::render_site`].
pub fn render_site(view: &SiteView) -> Result<String, TemplateError> {
    Templates::embedded()?.render_site(view)
}

/// Letters, digits and the space pass; every other character becomes `\u{HEX}`.
///
/// Typst reads that as the plain character both in markup and inside a string literal, so that a forgotten pair of
/// quotes in a template is not a hole.
fn escape_typst(input: &str, output: &mut dyn Write) -> io::Result<()> {
    let mut escaped = String::with_capacity(input.len());
    for character in input.chars() {
        if character.is_alphanumeric() || character == ' ' {
            escaped.push(character);
        } else {
            // Writing to a string does not fail; the error type is carried on rather than dropped.
            write!(escaped, "\\u{{{:x}}}", u32::from(character)).map_err(io::Error::other)?;
        }
    }
    output.write_all(escaped.as_bytes())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::view::{
        Chart, ClosingSection, Document, PageOne, Paper, PartSection, PumpSection, SiteView, SpaWater, State,
        UnknownSection, VIEW_VERSION, VisitSection, WaterSection,
    };

    const HOSTILE: &str = "\"]#read(\"/etc/passwd\")*b* $x$ <l> @r //c \\ {{ site }} {% raw %} \u{a} `r`";

    fn minimal() -> SiteView {
        SiteView {
            view_version: VIEW_VERSION,
            document: Document {
                title: "Minimal, October 2026".to_owned(),
                site: "Minimal".to_owned(),
                month: "October 2026".to_owned(),
                prepared_by: "Nobody in particular".to_owned(),
                prepared_for: None,
                as_of: "2026-10-31".to_owned(),
                paper: Paper::A4,
                lang: "en-GB".to_owned(),
                header: String::new(),
                footer: String::new(),
            },
            page_one: PageOne {
                state: State {
                    mark: crate::report::view::Mark::Note,
                    lead: "Nothing can be said.".to_owned(),
                    rest: String::new(),
                },
                left_out: Vec::new(),
                actions: Vec::new(),
                no_actions: "Nothing to do.".to_owned(),
                more_actions: None,
                numbers: Vec::new(),
                since: Vec::new(),
                charts: Vec::new(),
            },
            water: WaterSection { nothing_to_say: Some("No water records.".to_owned()), ..Default::default() },
            pumps: PumpSection { nothing_to_say: Some("No pump records.".to_owned()), ..Default::default() },
            parts: PartSection { nothing_to_say: Some("No part records.".to_owned()), ..Default::default() },
            visits: VisitSection { nothing_to_say: Some("No visits planned.".to_owned()), ..Default::default() },
            unknowns: UnknownSection { nothing_to_say: Some("All known.".to_owned()), ..Default::default() },
            closing: ClosingSection::default(),
        }
    }

    fn full() -> SiteView {
        let mut view = minimal();
        view.water.nothing_to_say = None;
        view.water.spas = vec![SpaWater { name: "Terrace spa".to_owned(), ..Default::default() }];
        view.pumps.nothing_to_say = None;
        view.parts.nothing_to_say = None;
        view.visits.nothing_to_say = None;
        view.unknowns.nothing_to_say = None;
        view.page_one.charts = vec![Chart { file: "charts/a.svg".to_owned(), ..Default::default() }];
        view
    }

    fn escaped(text: &str) -> String {
        let mut bytes = Vec::new();
        escape_typst(text, &mut bytes).expect("a vector takes every byte");
        String::from_utf8(bytes).expect("text stays text")
    }

    #[test]
    fn letters_digits_and_space_pass_and_nothing_else_does() {
        assert_eq!(escaped("Terrasse 2 äß"), "Terrasse 2 äß");
        assert_eq!(escaped("#\"\\"), "\\u{23}\\u{22}\\u{5c}");
        assert_eq!(escaped("a\nb"), "a\\u{a}b");
        for active in "#*_`$<>@=-+/~\"'\\[](){},;:.!?|&^%\n\r\t\u{0}\u{feff}\u{1f600}".chars() {
            assert_eq!(escaped(&active.to_string()), format!("\\u{{{:x}}}", u32::from(active)));
        }
    }

    #[test]
    fn escaping_is_on_for_every_embedded_template() {
        let mut templates = Templates::embedded().unwrap();
        for (name, _) in EMBEDDED {
            templates
                .override_with(&format!("{name}.tera"), "{{ document.site }}|{{ document.site | upper }}")
                .unwrap();
            let mut view = minimal();
            view.document.site = "#a".to_owned();
            if name.ends_with(HTML_SUFFIX) {
                view.document.site = "<a>".to_owned();
                assert_eq!(templates.render(name, &view).unwrap(), "&lt;a&gt;|&lt;A&gt;", "{name}");
            } else {
                assert_eq!(templates.render(name, &view).unwrap(), "\\u{23}a|\\u{23}A", "{name}");
            }
        }
    }

    #[test]
    fn no_template_goes_round_the_escape_or_runs_code() {
        for (name, text) in EMBEDDED.iter().copied().chain([("layout.typ", LAYOUT), ("fleet-layout.typ", FLEET_LAYOUT)])
        {
            let tight: String = text.chars().filter(|c| !c.is_whitespace()).collect();
            for forbidden in ["|safe", "eval(", "@preview", "@local", "read(", "plugin(", "mode:\"markup\""] {
                assert!(!tight.contains(forbidden), "{name} has {forbidden}");
            }
        }
    }

    #[test]
    fn every_table_of_the_layout_has_a_header() {
        let tables = LAYOUT.matches("table(").count();
        assert!(tables > 0);
        assert_eq!(tables, 1, "tables are set by one function, which demands a head");
        assert!(LAYOUT.contains("table.header("));
    }

    #[test]
    fn a_section_without_words_is_one_line() {
        let bare = render_site(&minimal()).unwrap();
        assert!(bare.contains("nothing-to-say(view.water)"));
        assert!(!bare.contains("spa-water("));
        assert!(!bare.contains("{%") && !bare.contains("{{"));
        let whole = render_site(&full()).unwrap();
        assert!(!whole.contains("nothing-to-say("));
        for call in ["water-section(", "pump-section(", "part-section(", "visit-section(", "unknown-section("] {
            assert!(whole.contains(call), "{call}");
            assert!(!bare.contains(call), "{call}");
        }
    }

    #[test]
    fn hostile_text_does_not_reach_the_markup() {
        let mut view = full();
        HOSTILE.clone_into(&mut view.document.site);
        HOSTILE.clone_into(&mut view.document.title);
        HOSTILE.clone_into(&mut view.page_one.state.lead);
        HOSTILE.clone_into(&mut view.water.spas[0].name);
        let text = render_site(&view).unwrap();
        assert!(!text.contains("passwd\""), "{text}");
        assert!(!text.contains("#read"), "{text}");
        assert!(!text.contains("*b*"), "{text}");
        // It is in the data instead, as it was written.
        let data: serde_json::Value = serde_json::from_str(&view.to_json().unwrap()).unwrap();
        assert_eq!(data["document"]["site"], HOSTILE);
    }

    #[test]
    fn an_override_is_checked_and_a_mistake_names_its_template_its_line_and_what_was_at_hand() {
        let mut templates = Templates::embedded().unwrap();
        let unknown = templates.override_with("sight.typ.tera", "").unwrap_err().to_string();
        assert!(unknown.starts_with("there is no template sight.typ.tera"), "{unknown}");
        assert!(unknown.contains("site.typ.tera") && unknown.contains("layout.typ"), "{unknown}");
        let parse = templates.override_with("site.typ.tera", "first\n{% if %}").unwrap_err().to_string();
        assert!(parse.contains("template site.typ.tera") && parse.contains("2:"), "{parse}");
        templates.override_with("site.typ.tera", "first\nsecond {{ document.sight }}").unwrap();
        let render = templates.render_site(&minimal()).unwrap_err().to_string();
        for part in ["site.typ.tera", "Minimal, October 2026", "page_one", "sight", "2:"] {
            assert!(render.contains(part), "no {part} in: {render}");
        }
        // A layout is plain Typst and is taken as it is; what is wrong with it the renderer says, with its line.
        templates.override_with("layout.typ", "#let ink = black").unwrap();
        assert_eq!(templates.layouts(&["layout.typ"])[0].1, b"#let ink = black");
    }

    #[test]
    fn same_view_same_text() {
        assert_eq!(render_site(&full()).unwrap(), render_site(&full()).unwrap());
        assert_eq!(full().to_json().unwrap(), full().to_json().unwrap());
    }
}
