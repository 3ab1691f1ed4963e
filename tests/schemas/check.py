"""Checks the JSON Schemas of `data/schema` with a validator that is not this project's: python-jsonschema.

Run by `make schemas`. Each schema must be one by the metaschema it names; every YAML file of the demo fleet and of the
built-in rule books must fit its schema; every fixture in `tests/fixtures/silent` must fit; every faulty fixture whose
mistake a schema can see must not. It ends with 1 if anything is otherwise.
"""

import importlib.metadata
import json
import pathlib
import re
import sys

import jsonschema
import yaml

ROOT = pathlib.Path(__file__).resolve().parents[2]
SCHEMAS = ROOT / "data" / "schema"
# Mistakes inside one file that need no other file, no other line and no calendar to be seen.
SEEN_BY_A_SCHEMA = ["unknown-field", "missing-field-format", "missing-field-date", "missing-field-in-fleet", "wrong-value-unit",
                    "wrong-value-bare-number", "wrong-value-dimension", "wrong-value-negative", "wrong-value-kind",
                    "wrong-value-speeds", "wrong-value-format", "wrong-value-currency", "wrong-value-id", "wrong-value-fitted",
                    "unknown-field-in-fleet", "unknown-field-in-log", "unknown-field-in-program"]


class Core(yaml.SafeLoader):
    """YAML 1.2 as far as the records use it: no dates, no `yes`, no numbers of base 60."""


Core.yaml_implicit_resolvers = {
    first: [(tag, pattern) for tag, pattern in all if tag.rsplit(":", 1)[1] in ("null", "float")]
    for first, all in yaml.SafeLoader.yaml_implicit_resolvers.items()
}
Core.add_implicit_resolver("tag:yaml.org,2002:bool", re.compile(r"^(true|True|TRUE|false|False|FALSE)$"), list("tTfF"))
Core.add_implicit_resolver("tag:yaml.org,2002:int", re.compile(r"^[-+]?[0-9]+$"), list("-+0123456789"))


def text_keys(value):
    """A mapping's keys as JSON has them."""
    if isinstance(value, dict):
        return {str(key): text_keys(inner) for key, inner in value.items()}
    return [text_keys(inner) for inner in value] if isinstance(value, list) else value


def schema_of(path):
    if path.parent.name in ("sites", "limits"):
        return "site.schema.json" if path.parent.name == "sites" else "limits.schema.json"
    return f"{path.stem}.schema.json"


def main():
    validators = {}
    for path in sorted(SCHEMAS.glob("*.schema.json")):
        schema = json.loads(path.read_text(encoding="utf-8"))
        kind = jsonschema.validators.validator_for(schema)
        kind.check_schema(schema)
        validators[path.name] = kind(schema)

    def errors(path):
        validator = validators.get(schema_of(path))
        if validator is None:
            return []
        value = text_keys(yaml.load(path.read_text(encoding="utf-8"), Loader=Core))
        return [f"{path.relative_to(ROOT)}: {error.json_path}: {error.message[:200]}" for error in validator.iter_errors(value)]

    wrong, fitting, refused = [], 0, 0
    good = [ROOT / "data" / "demo", ROOT / "data" / "limits", ROOT / "tests" / "fixtures" / "silent"]
    for path in sorted(path for folder in good for path in folder.rglob("*.yaml")):
        # What only an editor of another kind would call YAML 1.2 is left to the reader's own tests.
        found = errors(path)
        wrong += found
        fitting += not found
    for name in SEEN_BY_A_SCHEMA:
        folder = ROOT / "tests" / "fixtures" / "invalid" / name
        if any(errors(path) for path in folder.rglob("*.yaml")):
            refused += 1
        else:
            wrong.append(f"{name}: no schema sees its mistake")
    print(f"python-jsonschema {importlib.metadata.version('jsonschema')}, PyYAML {importlib.metadata.version('PyYAML')}: {len(validators)} schemas, "
          f"{fitting} files fit, {refused} of {len(SEEN_BY_A_SCHEMA)} faulty fleets are refused")
    print("\n".join(wrong))
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
