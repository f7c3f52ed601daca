//! What the bench of whole runs makes of the times that a run wrote.

#[path = "benches/realistic/timings.rs"]
mod timings;

use timings::{by_case, by_stage, by_technology, read, slope};

const FILE: &str = "case,technology,voxels,structures,targets,stage,processor_s\n\
                    A,cobalt_unit,1000,10,1,read,0.5\n\
                    A,cobalt_unit,1000,10,1,bounds,1.5\n\
                    B,gantry_linac,8000,20,3,read,1\n\
                    B,gantry_linac,8000,20,3,bounds,15\n\
                    ,,,,,tables,2.25\n";

#[test]
fn seconds_add_up_by_stage_case_and_technology() {
    let rows = read(FILE).unwrap();
    assert_eq!(rows.len(), 5);
    let stages: Vec<(String, f64)> = by_stage(&rows);
    let named: Vec<(&str, f64)> = stages.iter().map(|(s, t)| (s.as_str(), *t)).collect();
    assert_eq!(named, [("read", 1.5), ("bounds", 16.5), ("tables", 2.25)]);
    let cases = by_case(&rows);
    assert_eq!(cases.iter().map(|(_, t)| *t).collect::<Vec<_>>(), [2.0, 16.0]);
    assert_eq!(cases[1].0.targets, 3.0);
    assert_eq!(by_technology(&cases)["gantry_linac"], (1, 16.0));
    // Eight times the voxels took eight times as long.
    let points: Vec<(f64, f64)> = cases.iter().map(|(c, t)| (c.voxels, *t)).collect();
    assert!((slope(&points).unwrap() - 1.0).abs() < 1e-12);
}

#[test]
fn a_power_law_has_its_exponent_as_slope() {
    let points: Vec<(f64, f64)> =
        (1..20).map(|i| (f64::from(i), 3.0 * f64::from(i).powf(1.5))).collect();
    assert!((slope(&points).unwrap() - 1.5).abs() < 1e-12);
    assert_eq!(slope(&[(2.0, 1.0), (2.0, 5.0)]), None, "one size tells nothing");
    assert_eq!(slope(&[]), None);
}

#[test]
fn a_fault_names_line_and_column() {
    let wrong = FILE.replace("15\n", "much\n");
    assert_eq!(read(&wrong).unwrap_err(), "line 5, processor_s: `much` is no number");
    let other = FILE.replace("stage", "step");
    assert_eq!(read(&other).unwrap_err(), "line 2 has no column stage");
}
