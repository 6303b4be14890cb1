//! The schemas kept in `docs/schema` are those of the types, and say what an answer really has. After a wanted change:
//! `UPDATE_EXPECT=1 cargo test -p barwright-answer --test schema`.
#![allow(missing_docs, clippy::unwrap_used, reason = "a test may stop at the first surprise")]

use std::ops::ControlFlow;
use std::path::Path;

use barwright_answer::Engine;
use barwright_answer::question::{Request, SCHEMAS, answer, schema};
use expect_test::expect_file;
use serde_json::{Value, json};

#[test]
fn the_kept_schemas_are_those_of_the_types() {
    for &name in SCHEMAS {
        let text = serde_json::to_string_pretty(&schema(name).unwrap()).unwrap();
        let kept = Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("../../docs/schema/{name}.json"));
        expect_file![kept].assert_eq(&format!("{text}\n"));
    }
    assert!(schema("nothing").is_none());
}

/// Every key of an answer that its schema does not name; references are followed.
fn unnamed(value: &Value, schema: &Value, root: &Value, path: &str, found: &mut Vec<String>) {
    let schema = match schema["$ref"].as_str().and_then(|target| target.strip_prefix('#')) {
        Some(target) => root.pointer(target).unwrap(),
        None => schema,
    };
    let choices = ["anyOf", "oneOf"].into_iter().filter_map(|key| schema[key].as_array()).flatten();
    let choices: Vec<&Value> = choices.collect();
    if !choices.is_empty() {
        // One that names every key will do.
        let tries = choices.iter().map(|choice| {
            let mut missed = Vec::new();
            unnamed(value, choice, root, path, &mut missed);
            missed
        });
        found.extend(tries.min_by_key(Vec::len).unwrap());
        return;
    }
    match value {
        Value::Object(fields) => {
            for (key, field) in fields {
                let path = format!("{path}.{key}");
                match (schema["properties"].get(key), schema.get("additionalProperties")) {
                    (Some(of), _) => unnamed(field, of, root, &path, found),
                    (None, Some(of)) if of.is_object() => unnamed(field, of, root, &path, found),
                    _ => found.push(path),
                }
            }
        }
        Value::Array(items) => items.iter().for_each(|item| unnamed(item, &schema["items"], root, path, found)),
        _ => {}
    }
}

#[test]
fn a_schema_names_every_key_of_a_real_answer() {
    let engine = Engine::builtin().unwrap();
    let bar = |wax: f64| {
        json!({ "name": "Leaf bar", "parts": [
            { "ingredient": "beeswax", "amount": wax },
            { "ingredient": "shea butter", "amount": 30.0 },
            { "ingredient": "sunflower oil", "amount": 70.0 - wax },
        ] })
    };
    let options = json!({ "draws": 16 });
    let asked = [
        ("assess", json!({ "formula": bar(26.0), "options": options, "why": true })),
        ("compare", json!({ "formulas": [bar(20.0), bar(30.0)], "options": options })),
        ("pour", json!({ "formula": bar(26.0), "options": options })),
        ("ingredients", json!({ "query": "beeswax" })),
        ("report", json!({ "formulas": [bar(20.0), bar(30.0)], "options": options, "pour": true })),
    ];
    for (name, question) in asked {
        let request: Request = serde_json::from_value(json!({ name: question })).unwrap();
        let answer = answer(&engine, &request, &|_, _| ControlFlow::Continue(())).unwrap();
        let figures = serde_json::to_value(&answer.figures).unwrap();
        let schema = serde_json::to_value(schema(name).unwrap()).unwrap();
        let mut found = Vec::new();
        unnamed(&figures, &schema, &schema, name, &mut found);
        assert_eq!(found, Vec::<String>::new(), "{name}");
        // The test can see: a key that no schema names is found.
        let mut changed = figures;
        changed["no such key"] = json!(1);
        unnamed(&changed, &schema, &schema, name, &mut found);
        assert_eq!(found, [format!("{name}.no such key")]);
    }
}
