//! JSON Schema (draft 2020-12) of every file a user writes, made from the record types themselves, so that an
//! editor completes and explains the fields the reader reads and no others.
//!
//! The mappings come from the record types; here stand the forms that have a grammar of their own: dates,
//! quantities with units, ids. A schema is a help while typing; what holds is what `check` says, which also knows
//! what one file says of another. Nothing here reads or writes a file.

use std::borrow::Cow;

use schemars::generate::SchemaSettings;
use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde_json::{Value, json};

use crate::address::{Address, Id};
use crate::calendar;
use crate::limits;
use crate::records::customers::CustomersFile;
use crate::records::fleet::FleetFile;
use crate::records::forms::{
    Currency, Date, Dated, Fitted, Format, Key, Keyed, Money, Name, Named, Number, OneOrMany, Reported, Share, Text,
    Timezone,
};
use crate::records::log::TimeOfDay;
use crate::records::plan::PlanFile;
use crate::records::pumps::{PumpsFile, Speeds};
use crate::records::site::SiteFile;
use crate::records::tubs::TubsFile;
use crate::records::upkeep::{Every, UpkeepFile};
use crate::units::{
    Area, Concentration, Current, Daily, Duration, FilterRate, Flow, Length, PerDay, Period, Power, Pressure, Redox,
    Temperature, Typed, Velocity, Voltage, Volume, Written,
};

/// The schemas by file name, and which records each is of.
pub fn schemas() -> Vec<(&'static str, Value)> {
    vec![
        ("fleet.schema.json", schema_of::<FleetFile>("fleet.yaml")),
        ("tubs.schema.json", schema_of::<TubsFile>("tubs.yaml")),
        ("pumps.schema.json", schema_of::<PumpsFile>("pumps.yaml")),
        ("upkeep.schema.json", schema_of::<UpkeepFile>("upkeep.yaml")),
        ("customers.schema.json", schema_of::<CustomersFile>("customers.yaml")),
        ("site.schema.json", schema_of::<SiteFile>("sites/<site>.yaml")),
        ("plan.schema.json", schema_of::<PlanFile>("plan.yaml")),
        ("limits.schema.json", limits::schema()),
    ]
}

/// A schema as it is written to a file.
pub fn text(schema: &Value) -> String {
    format!("{schema:#}\n")
}

/// The schema of a file's type.
pub(crate) fn schema_of<T: JsonSchema>(file: &str) -> Value {
    let generator = SchemaGenerator::new(SchemaSettings::draft2020_12());
    let mut schema = generator.into_root_schema_for::<T>().to_value();
    strict(&mut schema);
    if let Value::Object(root) = &mut schema {
        root.insert("title".to_owned(), json!(file));
        root.insert("description".to_owned(), json!(format!("{file}, record format 1.")));
    }
    schema
}

/// Makes every mapping of fields refuse a field that nothing reads, but for `note` and `x-…`, which pass anywhere;
/// takes out what says nothing to a person who types.
fn strict(schema: &mut Value) {
    match schema {
        Value::Array(items) => items.iter_mut().for_each(strict),
        Value::Object(object) => {
            object.remove("default");
            object.remove("format");
            if let Some(Value::Object(fields)) = object.get_mut("properties") {
                fields.values_mut().for_each(strict);
                fields
                    .entry("note")
                    .or_insert_with(|| json!({"description": "For whoever reads this file; nothing reads it."}));
                object.insert("patternProperties".to_owned(), json!({"^x-": {}}));
                object.insert("additionalProperties".to_owned(), json!(false));
            }
            object.iter_mut().filter(|(key, _)| *key != "properties").for_each(|(_, value)| strict(value));
        }
        _ => {}
    }
}

/// A number as people write it, for a pattern.
const NUMBER: &str = r"\+?([0-9]+\.?[0-9]*|\.[0-9]+)([eE][-+]?[0-9]+)?";

macro_rules! forms {
    ($($type:ty: $name:literal = $schema:expr;)+) => {
        $(impl JsonSchema for $type {
            fn inline_schema() -> bool {
                true
            }
            fn schema_name() -> Cow<'static, str> {
                $name.into()
            }
            fn json_schema(_: &mut SchemaGenerator) -> Schema {
                $schema
            }
        })+
    };
}

forms! {
    Format: "Format" = json_schema!({"const": 1, "description": "The version of the record format."});
    Text: "Text" = json_schema!({"type": ["string", "number"]});
    Name: "Name" = json_schema!({"type": ["string", "number"], "pattern": pattern_of_key::<Name>()});
    Id: "Id" = json_schema!({"type": "string", "maxLength": 40, "pattern": pattern_of_key::<Id>()});
    Address: "Address" = json_schema!({"type": "string", "pattern": pattern_of_key::<Address>()});
    Money: "Money" = json_schema!({"type": ["number", "string"], "minimum": 0, "maximum": 1_000_000_000,
        "pattern": format!("^{NUMBER}$"), "description": "An amount in the fleet's currency."});
    Number: "Number" = json_schema!({"type": ["number", "string"], "minimum": 0, "maximum": 1_000_000_000,
        "pattern": format!("^{NUMBER}$")});
    Share: "Share" = json_schema!({"type": ["number", "string"], "minimum": 0, "maximum": 1,
        "pattern": format!("^{NUMBER}$"), "examples": [0.2]});
    Date: "Date" = json_schema!({"type": "string", "pattern": pattern_of_key::<Date>(), "examples": ["2026-09-30"]});
    Reported: "Reported" = json_schema!({"type": "string",
        "pattern": format!("^{}({})?$", Date::PATTERN, Reported::PATTERN), "examples": ["2026-10-06 09:40", "2026-10-06"]});
    Currency: "Currency" = json_schema!({"type": "string", "pattern": "^[A-Z]{3}$", "examples": ["GBP"]});
    Timezone: "Timezone" = json_schema!({"type": "string", "pattern": "^[A-Za-z]", "examples": ["Europe/London"]});
    TimeOfDay: "TimeOfDay" = json_schema!({"type": "string", "pattern": r"^[0-9]{1,2}:[0-9]{1,2}(-[0-9]{1,2}:[0-9]{1,2})?$",
        "examples": ["09:10", "09:10-10:25"]});
    Speeds: "Speeds" = json_schema!({"enum": [1, 2]});
    Fitted: "Fitted" = json_schema!({
        "type": ["string", "integer"],
        "minimum": calendar::YEARS.start(),
        "maximum": calendar::YEARS.end(),
        "pattern": format!("^({date}|[0-9]{{4}}-(0[1-9]|1[0-2])|[0-9]{{4}}|before +{date}|unknown)$", date = Date::PATTERN),
        "examples": ["2022-05-04", "2022-05", "2022", "before 2024-01-01", "unknown"],
    });
    Every: "Every" = json_schema!({
        "anyOf": [{"const": "changeover"}, quantity::<Period>()],
        "examples": ["changeover", "14 d"],
    });
}

fn pattern_of_key<K: Key>() -> String {
    format!("^({})$", K::PATTERN)
}

/// A number and one of the units of its kind.
fn quantity<T: Written>() -> Schema {
    let (pattern, examples) = (format!("^{}({})$", number::<T>(), units::<T>()), [T::EXAMPLE]);
    json_schema!({"type": "string", "pattern": pattern, "examples": examples})
}

fn number<T: Written>() -> String {
    let sign = if T::NEGATIVE { "-?" } else { "" };
    format!("{sign}{NUMBER} *")
}

fn units<T: Written>() -> String {
    T::UNITS.join("|")
}

macro_rules! quantities {
    ($($type:ident),+) => {
        $(impl JsonSchema for $type {
            fn inline_schema() -> bool {
                true
            }
            fn schema_name() -> Cow<'static, str> {
                stringify!($type).into()
            }
            fn json_schema(_: &mut SchemaGenerator) -> Schema {
                quantity::<Self>()
            }
        })+
    };
}

quantities!(
    Volume,
    Length,
    Area,
    Flow,
    Power,
    Current,
    Voltage,
    Redox,
    Pressure,
    Temperature,
    Velocity,
    Duration,
    Daily,
    PerDay,
    Period,
    Concentration,
    FilterRate
);

impl<T: Written + JsonSchema> JsonSchema for Typed<T> {
    fn inline_schema() -> bool {
        true
    }
    fn schema_name() -> Cow<'static, str> {
        format!("Typed{}", T::schema_name()).into()
    }
    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        let pattern = format!("^{}({})?$", number::<T>(), units::<T>());
        let mut schema = json_schema!({"type": ["number", "string"], "pattern": pattern, "examples": [T::EXAMPLE]});
        if !T::NEGATIVE {
            schema.insert("minimum".to_owned(), json!(0));
        }
        schema
    }
}

impl<K: Key, V: JsonSchema> JsonSchema for Keyed<K, V> {
    fn inline_schema() -> bool {
        true
    }
    fn schema_name() -> Cow<'static, str> {
        format!("Keyed{}", V::schema_name()).into()
    }
    fn json_schema(generator: &mut SchemaGenerator) -> Schema {
        json_schema!({
            "type": ["object", "null"],
            "propertyNames": {"pattern": pattern_of_key::<K>()},
            "additionalProperties": generator.subschema_for::<V>(),
        })
    }
}

impl<V: JsonSchema> JsonSchema for Named<V> {
    fn inline_schema() -> bool {
        true
    }
    fn schema_name() -> Cow<'static, str> {
        format!("Named{}", V::schema_name()).into()
    }
    fn json_schema(generator: &mut SchemaGenerator) -> Schema {
        json_schema!({
            "type": ["object", "array"],
            "propertyNames": {"pattern": pattern_of_key::<Id>()},
            "additionalProperties": generator.subschema_for::<V>(),
            "items": Id::json_schema(generator),
        })
    }
}

impl<T: JsonSchema> JsonSchema for OneOrMany<T> {
    fn inline_schema() -> bool {
        true
    }
    fn schema_name() -> Cow<'static, str> {
        format!("OneOrMany{}", T::schema_name()).into()
    }
    fn json_schema(generator: &mut SchemaGenerator) -> Schema {
        let one = generator.subschema_for::<T>();
        json_schema!({"anyOf": [one.clone(), {"type": "array", "items": one}]})
    }
}

impl<T: JsonSchema> JsonSchema for Dated<T> {
    fn inline_schema() -> bool {
        true
    }
    fn schema_name() -> Cow<'static, str> {
        format!("Dated{}", T::schema_name()).into()
    }
    fn json_schema(generator: &mut SchemaGenerator) -> Schema {
        let value = generator.subschema_for::<T>();
        json_schema!({
            "anyOf": [
                value.clone(),
                {
                    "type": "object",
                    "propertyNames": {"pattern": pattern_of_key::<Date>()},
                    "additionalProperties": value,
                    "description": "What holds from each day on.",
                },
            ],
        })
    }
}

#[cfg(test)]
mod tests {
    use std::cell::RefCell;
    use std::collections::BTreeMap;
    use std::path::{Path, PathBuf};

    use super::*;

    fn root() -> &'static Path {
        Path::new(env!("CARGO_MANIFEST_DIR"))
    }

    /// Judges by the words of JSON Schema that the schemas use; a word it does not know fails the test.
    struct Validator {
        root: Value,
        patterns: RefCell<BTreeMap<String, regex::Regex>>,
    }

    fn validator(name: &str) -> Validator {
        let root = schemas().into_iter().find(|(file, _)| *file == name).unwrap().1;
        Validator { root, patterns: RefCell::default() }
    }

    impl Validator {
        fn is_valid(&self, value: &Value) -> bool {
            self.errors(value).is_empty()
        }

        fn errors(&self, value: &Value) -> Vec<String> {
            let mut errors = Vec::new();
            self.judge(&self.root, value, "", &mut errors);
            errors
        }

        fn fits(&self, schema: &Value, value: &Value) -> bool {
            let mut errors = Vec::new();
            self.judge(schema, value, "", &mut errors);
            errors.is_empty()
        }

        fn matches(&self, pattern: &Value, text: &str) -> bool {
            let pattern = pattern.as_str().unwrap();
            let mut patterns = self.patterns.borrow_mut();
            patterns.entry(pattern.to_owned()).or_insert_with(|| regex::Regex::new(pattern).unwrap()).is_match(text)
        }

        fn judge(&self, schema: &Value, value: &Value, at: &str, errors: &mut Vec<String>) {
            if let Value::Bool(passes) = schema {
                if !passes {
                    errors.push(format!("{at}: nothing may stand here"));
                }
                return;
            }
            let all = schema.as_object().unwrap();
            for (word, said) in all {
                let fits = match word.as_str() {
                    "$schema" | "$defs" | "title" | "description" | "examples" => true,
                    "$ref" => {
                        let name = said.as_str().unwrap().strip_prefix("#").unwrap();
                        self.judge(self.root.pointer(name).unwrap(), value, at, errors);
                        true
                    }
                    "const" => value == said,
                    "enum" => said.as_array().unwrap().contains(value),
                    "type" => match said {
                        Value::Array(kinds) => kinds.iter().any(|kind| is_a(value, kind)),
                        kind => is_a(value, kind),
                    },
                    "pattern" => value.as_str().is_none_or(|text| self.matches(said, text)),
                    "maxLength" => {
                        value.as_str().is_none_or(|text| text.chars().count() as u64 <= said.as_u64().unwrap())
                    }
                    "minimum" => value.as_f64().is_none_or(|number| number >= said.as_f64().unwrap()),
                    "maximum" => value.as_f64().is_none_or(|number| number <= said.as_f64().unwrap()),
                    "anyOf" => said.as_array().unwrap().iter().any(|schema| self.fits(schema, value)),
                    "oneOf" => said.as_array().unwrap().iter().filter(|schema| self.fits(schema, value)).count() == 1,
                    "required" => value.as_object().is_none_or(|mapping| {
                        said.as_array().unwrap().iter().all(|f| mapping.contains_key(f.as_str().unwrap()))
                    }),
                    "items" => {
                        for (index, item) in value.as_array().into_iter().flatten().enumerate() {
                            self.judge(said, item, &format!("{at}/{index}"), errors);
                        }
                        true
                    }
                    "propertyNames" => {
                        value.as_object().is_none_or(|mapping| mapping.keys().all(|key| self.fits(said, &json!(key))))
                    }
                    "properties" => {
                        for (key, inner) in value.as_object().into_iter().flatten() {
                            if let Some(schema) = said.get(key) {
                                self.judge(schema, inner, &format!("{at}/{key}"), errors);
                            }
                        }
                        true
                    }
                    "patternProperties" => {
                        assert_eq!(*said, json!({"^x-": {}}));
                        true
                    }
                    "additionalProperties" => {
                        for (key, inner) in value.as_object().into_iter().flatten() {
                            let named = all.get("properties").is_some_and(|fields| fields.get(key).is_some());
                            let own = all.contains_key("patternProperties") && key.starts_with("x-");
                            if !named && !own {
                                self.judge(said, inner, &format!("{at}/{key}"), errors);
                            }
                        }
                        true
                    }
                    other => panic!("the schemas use `{other}`"),
                };
                if !fits {
                    errors.push(format!("{at}: {word} {said}"));
                }
            }
        }
    }

    fn is_a(value: &Value, kind: &Value) -> bool {
        match kind.as_str().unwrap() {
            "null" => value.is_null(),
            "boolean" => value.is_boolean(),
            "string" => value.is_string(),
            "number" => value.is_number(),
            "integer" => value.as_f64().is_some_and(|number| number.fract() == 0.0),
            "array" => value.is_array(),
            "object" => value.is_object(),
            other => panic!("the schemas use the type `{other}`"),
        }
    }

    /// The schema of a file by where it stands.
    fn schema_for(file: &Path) -> String {
        let stem = file.file_stem().unwrap().to_str().unwrap();
        match file.parent().unwrap().file_name().unwrap().to_str().unwrap() {
            "sites" => "site.schema.json".to_owned(),
            "limits" => "limits.schema.json".to_owned(),
            _ => format!("{stem}.schema.json"),
        }
    }

    fn records() -> Vec<PathBuf> {
        let mut files: Vec<PathBuf> = ["data/demo", "data/demo/sites", "data/limits"]
            .iter()
            .flat_map(|folder| std::fs::read_dir(root().join(folder)).unwrap())
            .map(|entry| entry.unwrap().path())
            .filter(|path| path.extension().is_some_and(|ending| ending == "yaml"))
            .collect();
        files.sort();
        files
    }

    fn value(text: &str) -> Value {
        serde_yaml::from_str(text).unwrap()
    }

    #[test]
    fn every_file_of_the_sample_fleet_fits_its_schema() {
        let files = records();
        assert!(files.len() >= 14, "{files:?}");
        for file in files {
            let text = std::fs::read_to_string(&file).unwrap();
            let errors = validator(&schema_for(&file)).errors(&value(&text));
            assert!(errors.is_empty(), "{}:\n{}", file.display(), errors.join("\n"));
        }
    }

    /// Every mapping of a value, by its path.
    fn mappings(value: &Value, at: &str, all: &mut Vec<String>) {
        match value {
            Value::Object(object) => {
                all.push(at.to_owned());
                object.iter().for_each(|(key, inner)| {
                    mappings(inner, &format!("{at}/{}", key.replace('~', "~0").replace('/', "~1")), all);
                });
            }
            Value::Array(items) => {
                items.iter().enumerate().for_each(|(index, inner)| mappings(inner, &format!("{at}/{index}"), all));
            }
            _ => {}
        }
    }

    #[test]
    fn a_misspelt_field_fits_nowhere_and_a_note_of_ones_own_everywhere() {
        for file in records().iter().filter(|file| !file.ends_with("limits/none.yaml")) {
            let validator = validator(&schema_for(file));
            let whole = value(&std::fs::read_to_string(file).unwrap());
            let mut all = Vec::new();
            mappings(&whole, "", &mut all);
            // The entries of a list are alike: one of each form is enough.
            let form =
                |at: &str| at.split('/').filter(|step| step.parse::<usize>().is_err()).collect::<Vec<_>>().join("/");
            let mut forms = std::collections::BTreeSet::new();
            all.retain(|at| forms.insert(form(at)));
            for at in &all {
                // A key of a mapping by id is any id, so it is one that is none.
                let mut misspelt = whole.clone();
                let mapping = misspelt.pointer_mut(at).unwrap().as_object_mut().unwrap();
                mapping.insert("Misspelt field".to_owned(), json!({"Misspelt field": []}));
                assert!(!validator.is_valid(&misspelt), "{}: {at}", file.display());
            }
            let mut noted = whole.clone();
            let mapping = noted.as_object_mut().unwrap();
            mapping.insert("note".to_owned(), json!("any"));
            mapping.insert("x-own".to_owned(), json!({"any": 1}));
            assert!(validator.is_valid(&noted), "{}", file.display());
        }
    }

    #[test]
    fn the_grammar_of_values_is_that_of_the_reader() {
        let site = validator("site.schema.json");
        let fits = |spa: &str| site.is_valid(&value(&format!("{{format: 1, spas: {{terrace: {spa}}}}}")));
        for good in [
            "{volume: 1250 L}",
            "{volume: 1.25m3}",
            "{fitted: 2022}",
            "{fitted: 2022-05}",
            "{fitted: before 2024-01-01}",
            "{bathers: 6 /day}",
            "{setpoint: -1 C}",
            "{pumps: {a: {program: {run: 6 h/day}}}}",
            "{pumps: {a: {program: [{from: 2022-01-01, run: 6 h/day}]}}}",
            "{pumps: {jets-1: {here: false}}}",
        ] {
            assert!(fits(good), "{good}");
            let text = format!("{{format: 1, spas: {{terrace: {good}}}}}");
            assert!(crate::records::yaml::read::<SiteFile>(&text, <[_]>::len).problems.is_empty(), "{good}");
        }
        for wrong in [
            "{volume: 1250}",
            "{volume: -1 L}",
            "{volume: 1250 bar}",
            "{fitted: 1900}",
            "{fitted: 2022-13}",
            "{bathers: 6}",
            "{volum: 1 L}",
            "{pumps: {a--b: {}}}",
            "{pumps: {A: {}}}",
            "{pumps: {a: {duty: jet}}}",
            "{pumps: {a: {program: {runs: 6 h/day}}}}",
            "{filters: {main: {kind: carton}}}",
        ] {
            assert!(!fits(wrong), "{wrong}");
            let text = format!("{{format: 1, spas: {{terrace: {wrong}}}}}");
            assert!(!crate::records::yaml::read::<SiteFile>(&text, <[_]>::len).problems.is_empty(), "{wrong}");
        }
    }

    #[test]
    fn every_field_is_explained() {
        for (file, schema) in schemas() {
            let definitions = schema["$defs"].as_object().cloned().unwrap_or_default();
            for mapping in definitions.values().chain([&schema]) {
                for (field, schema) in mapping["properties"].as_object().into_iter().flatten() {
                    assert!(schema["description"].is_string(), "{file}: {field}: {schema}");
                }
            }
        }
    }

    /// `tubwright schema --out data/schema` writes them anew.
    #[test]
    fn the_schemas_shipped_are_those_of_the_record_types() {
        for (file, schema) in schemas() {
            let shipped = std::fs::read_to_string(root().join("data/schema").join(file)).unwrap();
            assert!(shipped == text(&schema), "data/schema/{file} is out of date");
        }
    }
}
