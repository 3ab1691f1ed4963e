//! Every file of the demo names its schema in its first line, so that an editor completes and explains its fields.
//!
//! That the files fit the schemas is checked by a validator of somebody else's; see `tests/schemas`.

use crate::support::demo;

#[test]
fn every_file_of_the_demo_names_a_schema_that_is_there() {
    let mut seen = 0;
    for entry in walkdir::WalkDir::new(demo()).into_iter().map(Result::unwrap) {
        let path = entry.path();
        if path.extension().is_none_or(|ending| ending != "yaml") {
            continue;
        }
        let text = std::fs::read_to_string(path).unwrap();
        let line = text.lines().next().unwrap();
        let schema = line
            .strip_prefix("# yaml-language-server: $schema=")
            .unwrap_or_else(|| panic!("{} begins with `{line}`", path.display()));
        let schema = path.parent().unwrap().join(schema);
        let schema: serde_json::Value = serde_json::from_slice(&std::fs::read(schema).unwrap()).unwrap();
        let name = path.file_name().unwrap().to_str().unwrap();
        let of = schema["title"].as_str().unwrap();
        assert!(of == name || (of == "sites/<site>.yaml" && path.parent().unwrap().ends_with("sites")), "{name}: {of}");
        seen += 1;
    }
    assert!(seen >= 11, "{seen}");
}
