//! Changes of single values in a case's text: comments and layout stay.

use serde_json::Value as Json;
use toml_edit::{Array, DocumentMut, InlineTable, Item, Table, Value};

use crate::messages::{Edit, Refusal, Step};

/// The text with all of `edits` made, one after the other.
///
/// # Errors
/// The text is no TOML, or a way leads nowhere.
pub(crate) fn edited(text: &str, edits: &[Edit]) -> Result<String, Refusal> {
    let mut document: DocumentMut = text.parse().map_err(|_| {
        Refusal::new("the case's text is not valid TOML").hint("mend it in the text itself")
    })?;
    for edit in edits {
        make(document.as_table_mut(), edit)?;
    }
    Ok(document.to_string())
}

/// What the text says, as plain values; nothing where it is no TOML.
pub(crate) fn values(text: &str) -> Json {
    text.parse::<DocumentMut>().map_or(Json::Null, |d| of_item(d.as_item()))
}

fn make(root: &mut Table, edit: &Edit) -> Result<(), Refusal> {
    let lost = || Refusal::new(format!("the case has no place {}", told(&edit.path)));
    let [first, rest @ ..] = &edit.path[..] else { return Err(lost()) };
    let Step::Key(key) = first else { return Err(lost()) };
    if rest.is_empty() {
        return set_in_table(root, key, &edit.value).ok_or_else(lost);
    }
    if !root.contains_key(key) {
        let new = match rest[0] {
            Step::Place(_) => Item::ArrayOfTables(toml_edit::ArrayOfTables::new()),
            Step::Key(_) => Item::Table(Table::new()),
        };
        root.insert(key, new);
    }
    let item = root.get_mut(key).ok_or_else(lost)?;
    set(item, rest, &edit.value).ok_or_else(lost)
}

fn set(item: &mut Item, way: &[Step], value: &Json) -> Option<()> {
    match (item, way) {
        (Item::ArrayOfTables(list), [Step::Place(k)]) => {
            if value.is_null() {
                (*k < list.len()).then(|| list.remove(*k));
                return Some(());
            }
            let mut table = Table::new();
            for (key, value) in value.as_object()? {
                table.insert(key, Item::Value(of_json(value)?));
            }
            if *k == list.len() {
                list.push(table);
            } else {
                *list.get_mut(*k)? = table;
            }
            Some(())
        }
        (Item::ArrayOfTables(list), [Step::Place(k), Step::Key(key)]) => {
            set_in_table(list.get_mut(*k)?, key, value)
        }
        (Item::ArrayOfTables(list), [Step::Place(k), Step::Key(key), rest @ ..]) => {
            set_below(list.get_mut(*k)?, key, rest, value)
        }
        (Item::Table(table), [Step::Key(key)]) => set_in_table(table, key, value),
        (Item::Table(table), [Step::Key(key), rest @ ..]) => set_below(table, key, rest, value),
        (Item::Value(inner), way) => set_in_value(inner, way, value),
        _ => None,
    }
}

fn set_below(table: &mut Table, key: &str, way: &[Step], value: &Json) -> Option<()> {
    if !table.contains_key(key) {
        table.insert(key, Item::Value(Value::InlineTable(InlineTable::new())));
    }
    set(table.get_mut(key)?, way, value)
}

/// Puts a value at a key; what stood round the old one, its comment too, stays.
fn set_in_table(table: &mut Table, key: &str, value: &Json) -> Option<()> {
    if value.is_null() {
        table.remove(key);
        return Some(());
    }
    let mut new = of_json(value)?;
    match table.get_mut(key) {
        Some(Item::Value(old)) => {
            *new.decor_mut() = old.decor().clone();
            *old = new;
        }
        _ => {
            table.insert(key, Item::Value(new));
        }
    }
    Some(())
}

fn set_in_value(item: &mut Value, way: &[Step], value: &Json) -> Option<()> {
    match (item, way) {
        (Value::InlineTable(table), [Step::Key(key)]) => {
            if value.is_null() {
                table.remove(key);
                return Some(());
            }
            let mut new = of_json(value)?;
            match table.get_mut(key) {
                Some(old) => {
                    *new.decor_mut() = old.decor().clone();
                    *old = new;
                }
                None => {
                    table.insert(key, new);
                }
            }
            Some(())
        }
        (Value::InlineTable(table), [Step::Key(key), rest @ ..]) => {
            set_in_value(table.get_mut(key)?, rest, value)
        }
        (Value::Array(list), [Step::Place(k)]) => {
            if value.is_null() {
                (*k < list.len()).then(|| list.remove(*k))?;
                return Some(());
            }
            let new = of_json(value)?;
            if *k == list.len() {
                list.push(new);
            } else {
                (*k < list.len()).then(|| list.replace(*k, new))?;
            }
            Some(())
        }
        (Value::Array(list), [Step::Place(k), rest @ ..]) => {
            set_in_value(list.get_mut(*k)?, rest, value)
        }
        _ => None,
    }
}

/// A value as a case has it: every number a TOML float.
fn of_json(value: &Json) -> Option<Value> {
    Some(match value {
        Json::Bool(b) => Value::from(*b),
        Json::Number(n) => Value::from(n.as_f64()?),
        Json::String(s) => Value::from(s.as_str()),
        Json::Array(list) => Value::Array(list.iter().map(of_json).collect::<Option<Array>>()?),
        Json::Object(map) => {
            let mut table = InlineTable::new();
            for (key, value) in map {
                table.insert(key, of_json(value)?);
            }
            Value::InlineTable(table)
        }
        Json::Null => return None,
    })
}

fn of_item(item: &Item) -> Json {
    match item {
        Item::None => Json::Null,
        Item::Value(value) => of_value(value),
        Item::Table(table) => {
            Json::Object(table.iter().map(|(k, v)| (k.to_owned(), of_item(v))).collect())
        }
        Item::ArrayOfTables(list) => {
            let table = |t: &Table| {
                Json::Object(t.iter().map(|(k, v)| (k.to_owned(), of_item(v))).collect())
            };
            Json::Array(list.iter().map(table).collect())
        }
    }
}

fn of_value(value: &Value) -> Json {
    match value {
        Value::String(s) => Json::from(s.value().as_str()),
        Value::Integer(n) => Json::from(*n.value()),
        Value::Float(x) => Json::from(*x.value()),
        Value::Boolean(b) => Json::from(*b.value()),
        Value::Datetime(d) => Json::from(d.value().to_string()),
        Value::Array(list) => Json::Array(list.iter().map(of_value).collect()),
        Value::InlineTable(table) => {
            Json::Object(table.iter().map(|(k, v)| (k.to_owned(), of_value(v))).collect())
        }
    }
}

fn told(way: &[Step]) -> String {
    let steps: Vec<String> = way
        .iter()
        .map(|step| match step {
            Step::Place(k) => (k + 1).to_string(),
            Step::Key(key) => key.clone(),
        })
        .collect();
    steps.join(".")
}

#[cfg(test)]
mod tests {
    use serde_json::json;

    use super::{edited, values};
    use crate::messages::{Edit, Step};

    const TEXT: &str = "# a case\nunit = \"mm\"  # of all\n\n[[end]]\nname = \"upper\"\n\
        fitting = { kind = \"tube\", bore = 16.0 } # round\n\n[limits]\n\
        deviation = 0.1   # how far\n";

    fn edit(path: &[serde_json::Value], value: serde_json::Value) -> Edit {
        let path = serde_json::from_value::<Vec<Step>>(json!(path)).unwrap();
        Edit { path, value }
    }

    fn done(path: &[serde_json::Value], value: serde_json::Value) -> String {
        edited(TEXT, &[edit(path, value)]).unwrap()
    }

    #[test]
    fn one_value_changes_and_all_else_stays() {
        let text = done(&[json!("limits"), json!("deviation")], json!(0.2));
        assert_eq!(text, TEXT.replace("0.1 ", "0.2 "));
        let text = done(&[json!("end"), json!(0), json!("fitting"), json!("bore")], json!(18));
        assert_eq!(text, TEXT.replace("16.0", "18.0"));
        assert_eq!(edited(TEXT, &[]).unwrap(), TEXT);
    }

    #[test]
    fn keys_come_and_go() {
        let text = done(&[json!("limits"), json!("kink")], json!(10));
        assert_eq!(values(&text)["limits"]["kink"], json!(10.0));
        let text = done(&[json!("end"), json!(0), json!("limits"), json!("kink")], json!(12.5));
        assert_eq!(values(&text)["end"][0]["limits"]["kink"], json!(12.5));
        let text =
            done(&[json!("keep"), json!(0)], json!({"ball": {"at": [0, 1, 2], "radius": 3}}));
        assert_eq!(values(&text)["keep"][0]["ball"]["at"], json!([0.0, 1.0, 2.0]));
        let text = done(&[json!("end"), json!(1)], json!({"name": "lower", "rim": [0, 0, 0]}));
        assert_eq!(values(&text)["end"][1]["name"], json!("lower"));
        let text = done(&[json!("end"), json!(0), json!("fitting")], json!(null));
        assert_eq!(values(&text)["end"][0], json!({"name": "upper"}));
        let text = done(&[json!("end"), json!(0)], json!(null));
        assert!(!text.contains("upper"));
    }

    #[test]
    fn a_way_that_leads_nowhere_is_named() {
        for way in [
            vec![json!("end"), json!(4), json!("name")],
            vec![json!("unit"), json!("x")],
            vec![json!("limits"), json!(0)],
            vec![json!(0)],
            vec![],
        ] {
            assert!(edited(TEXT, &[edit(&way, json!(1))]).is_err(), "{way:?}");
        }
        assert!(edited("[", &[]).is_err());
        assert_eq!(values("["), json!(null));
    }
}
