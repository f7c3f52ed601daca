//! What a run wrote with `--timings`, added up: by stage, by technology, and how the time of a case
//! grows with its size. Runs nothing.

use std::collections::BTreeMap;

/// The time of one case, or of what is done for all, in one stage.
#[derive(Debug, Clone, PartialEq)]
pub struct Row {
    /// Absent for what is done for all cases together.
    pub case: Option<Case>,
    pub stage: String,
    pub processor_s: f64,
}

/// A case and its size.
#[derive(Debug, Clone, PartialEq)]
pub struct Case {
    pub id: String,
    pub technology: String,
    pub voxels: f64,
    pub structures: f64,
    pub targets: f64,
}

/// Reads the rows of a file; a fault names its row.
pub fn read(text: &str) -> Result<Vec<Row>, String> {
    let mut reader = csv::Reader::from_reader(text.as_bytes());
    let names = reader.headers().map_err(|e| e.to_string())?.clone();
    let mut rows = Vec::new();
    for (line, record) in (2..).zip(reader.records()) {
        let record = record.map_err(|e| e.to_string())?;
        let cell = |name: &str| {
            let place = names.iter().position(|n| n == name);
            let found = place.and_then(|place| record.get(place));
            found.ok_or_else(|| format!("line {line} has no column {name}"))
        };
        let number = |name: &str| {
            let text = cell(name)?;
            text.parse::<f64>().map_err(|_| format!("line {line}, {name}: `{text}` is no number"))
        };
        let case = match cell("case")? {
            "" => None,
            id => Some(Case {
                id: id.to_owned(),
                technology: cell("technology")?.to_owned(),
                voxels: number("voxels")?,
                structures: number("structures")?,
                targets: number("targets")?,
            }),
        };
        let stage = cell("stage")?.to_owned();
        rows.push(Row { case, stage, processor_s: number("processor_s")? });
    }
    Ok(rows)
}

/// Seconds by stage, in the order in which stages first come.
pub fn by_stage(rows: &[Row]) -> Vec<(String, f64)> {
    let mut sums: Vec<(String, f64)> = Vec::new();
    for row in rows {
        match sums.iter_mut().find(|(stage, _)| *stage == row.stage) {
            Some((_, sum)) => *sum += row.processor_s,
            None => sums.push((row.stage.clone(), row.processor_s)),
        }
    }
    sums
}

/// What each case took in all its stages.
pub fn by_case(rows: &[Row]) -> Vec<(Case, f64)> {
    let mut sums: BTreeMap<&str, (&Case, f64)> = BTreeMap::new();
    for row in rows {
        if let Some(case) = &row.case {
            sums.entry(&case.id).or_insert((case, 0.0)).1 += row.processor_s;
        }
    }
    sums.into_values().map(|(case, seconds)| (case.clone(), seconds)).collect()
}

/// Number of cases and their seconds, by technology.
pub fn by_technology(cases: &[(Case, f64)]) -> BTreeMap<String, (usize, f64)> {
    let mut sums: BTreeMap<String, (usize, f64)> = BTreeMap::new();
    for (case, seconds) in cases {
        let sum = sums.entry(case.technology.clone()).or_default();
        *sum = (sum.0 + 1, sum.1 + seconds);
    }
    sums
}

/// Slope of the straight line by least squares through the logarithms of sizes and times: 1 where
/// the time is proportional to the size. Absent where all sizes are equal.
pub fn slope(points: &[(f64, f64)]) -> Option<f64> {
    let logs: Vec<(f64, f64)> = points
        .iter()
        .filter(|(size, time)| *size > 0.0 && *time > 0.0)
        .map(|(size, time)| (size.ln(), time.ln()))
        .collect();
    let n = logs.len() as f64;
    let mean = |of: fn(&(f64, f64)) -> f64| logs.iter().map(of).sum::<f64>() / n;
    let (x, y) = (mean(|p| p.0), mean(|p| p.1));
    let spread: f64 = logs.iter().map(|p| (p.0 - x).powi(2)).sum();
    let common: f64 = logs.iter().map(|p| (p.0 - x) * (p.1 - y)).sum();
    (spread > 1e-12).then(|| common / spread)
}
