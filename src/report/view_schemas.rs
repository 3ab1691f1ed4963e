//! JSON Schema (draft 2020-12) of every view, made from the views themselves: what a template may use, and what each
//! field says. A template's data is the view written as JSON, so that a schema is the whole truth about it.

use schemars::JsonSchema;
use schemars::generate::SchemaSettings;
use serde_json::{Value, json};

use crate::report::fleet_view::FleetView;
use crate::report::index::IndexView;
use crate::report::inside_view::InsideView;
use crate::report::logbook_view::LogBookView;
use crate::report::quote_view::QuoteView;
use crate::report::statement_view::StatementView;
use crate::report::view::SiteView;
use crate::report::visits_view::VisitsView;

/// The schemas by file name.
pub fn schemas() -> Vec<(&'static str, Value)> {
    vec![
        ("site.view.schema.json", of::<SiteView>("site.typ.tera", "sites/<site>/report.pdf")),
        ("logbook.view.schema.json", of::<LogBookView>("logbook.typ.tera", "sites/<site>/logbook.pdf")),
        ("visits.view.schema.json", of::<VisitsView>("visits.typ.tera", "sites/<site>/visits.pdf")),
        ("statement.view.schema.json", of::<StatementView>("statement.typ.tera", "customers/<customer>/statement.pdf")),
        ("quote.view.schema.json", of::<QuoteView>("quote.typ.tera", "quote.pdf")),
        ("inside.view.schema.json", of::<InsideView>("inside.typ.tera", "inside.pdf")),
        ("fleet.view.schema.json", of::<FleetView>("fleet.typ.tera", "fleet.pdf")),
        ("index.view.schema.json", of::<IndexView>("index.html.tera", "index.html")),
    ]
}

fn of<T: JsonSchema>(template: &str, makes: &str) -> Value {
    let generator = SchemaSettings::draft2020_12().for_serialize().into_generator();
    let mut schema = generator.into_root_schema_for::<T>().to_value();
    if let Value::Object(root) = &mut schema {
        root.insert("title".to_owned(), json!(template));
        root.insert(
            "description".to_owned(),
            json!(format!(
                "What the template {template} may use; {makes} is made from it. Every leaf is finished text."
            )),
        );
    }
    schema
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Every field of every view is told with what it is.
    #[test]
    fn every_field_is_described() {
        fn walk(schema: &Value, at: &str, missing: &mut Vec<String>) {
            match schema {
                Value::Object(object) => {
                    if let Some(Value::Object(fields)) = object.get("properties") {
                        for (name, field) in fields {
                            let described = field.get("description").is_some();
                            if !described {
                                missing.push(format!("{at}.{name}"));
                            }
                        }
                    }
                    object.iter().for_each(|(key, value)| walk(value, &format!("{at}.{key}"), missing));
                }
                Value::Array(items) => items.iter().for_each(|item| walk(item, at, missing)),
                _ => {}
            }
        }
        for (file, schema) in schemas() {
            let mut missing = Vec::new();
            walk(&schema, file, &mut missing);
            assert!(missing.is_empty(), "{missing:?}");
            assert!(schema["properties"]["document"].is_object(), "{file}");
        }
    }
}
