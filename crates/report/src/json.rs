//! Findings for programs.

use base::{Findings, Level};
use serde_json::{Value, json};

use crate::input::Table;

/// Findings and tables as one JSON object (RFC 8259): `ready`, `counts` by level, `findings`
/// in the order in which they were made, and `tables` with `title`, `headings`, `rows`.
///
/// Values that aren't finite, which JSON can't hold, become `null`.
pub fn findings_json(findings: &Findings, tables: &[Table]) -> Value {
    let counts: serde_json::Map<String, Value> =
        [Level::Fail, Level::Warn, Level::Note, Level::Pass]
            .into_iter()
            .map(|level| (level_name(level).to_owned(), json!(findings.count(level))))
            .collect();
    let tables: Vec<Value> = tables
        .iter()
        .map(|t| json!({ "title": t.title, "headings": t.headings, "rows": t.rows }))
        .collect();
    json!({
        "ready": findings.is_ready(),
        "counts": counts,
        "findings": findings,
        "tables": tables,
    })
}

/// The word for a level, as it is in JSON.
pub(crate) fn level_name(level: Level) -> &'static str {
    match level {
        Level::Pass => "pass",
        Level::Note => "note",
        Level::Warn => "warn",
        Level::Fail => "fail",
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::testing::Sample;
    use base::Finding;

    #[test]
    fn everything_is_there_and_odd_values_are_null() {
        let mut sample = Sample::new(64);
        sample
            .findings
            .push(Finding::new("odd", Level::Warn, "\"odd\"").measured(f64::NAN, None));
        let json = findings_json(&sample.findings, &sample.tables);
        assert_eq!(json["ready"], false);
        assert_eq!(
            json["counts"],
            json!({"fail": 1, "warn": 1, "note": 0, "pass": 1})
        );
        assert_eq!(json["findings"][1]["value"], 3.5);
        assert_eq!(json["findings"][1]["level"], "fail");
        assert!(json["findings"][2]["value"].is_null());
        assert_eq!(json["tables"][0]["rows"][0][1], "24");
        let text = serde_json::to_string(&json).unwrap();
        assert_eq!(serde_json::from_str::<Value>(&text).unwrap(), json);
    }
}
