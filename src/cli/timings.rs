//! Where the processor time of a run went, for whoever wants to make it faster: a file with one
//! row for each case and stage, and rows without a case for what is done for all. It has no part in
//! any result, and no two runs have the same.

use std::path::Path;
use std::time::Duration;

use cpu_time::ProcessTime;

use super::fault::Fault;
use super::finish::FinishedCase;
use tidydose_analyse::stage::StageTimes;
use tidydose_case::Case;
use tidydose_table::replace_file;

/// Stages that belong to no case.
const SCAN: &str = "scan";
const SHARED: &str = "shared_loops";
const TABLES: &str = "tables";

/// The columns of the file.
const COLUMNS: [&str; 7] =
    ["case", "technology", "voxels", "structures", "targets", "stage", "processor_s"];

/// The processor time that the program had used when each step of a run ended.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Timings {
    /// When the archive was scanned and its objects were joined.
    scanned: Duration,
    /// When all cases were done.
    measured: Duration,
}

/// All that this process has used; nothing where the system does not tell.
fn used() -> Duration {
    ProcessTime::try_now().map_or(Duration::ZERO, |now| now.as_duration())
}

impl Timings {
    /// When the cases begin.
    pub(super) fn at_first_case() -> Self {
        Self { scanned: used(), measured: Duration::ZERO }
    }

    /// When the cases are done.
    pub(super) fn cases_done(&mut self) {
        self.measured = used();
    }

    /// Writes the file, of a run that comes to its end.
    ///
    /// # Errors
    /// When it cannot be written.
    pub(super) fn write(
        &self,
        path: &Path,
        cases: &[Case],
        times: &[Option<StageTimes>],
    ) -> Result<(), Fault> {
        let end = used();
        let mut rows = Vec::new();
        let mut in_cases = Duration::ZERO;
        for (case, times) in cases.iter().zip(times) {
            for (stage, time) in times.iter().flat_map(StageTimes::each) {
                in_cases += time;
                rows.push(row(case, stage.word(), time));
            }
        }
        // What the threads of the inner loops did while cases were measured is of no case.
        let shared = self.measured.saturating_sub(self.scanned).saturating_sub(in_cases);
        rows.push(row_of_all(SCAN, self.scanned));
        rows.push(row_of_all(SHARED, shared));
        rows.push(row_of_all(TABLES, end.saturating_sub(self.measured)));
        replace_file(path, |output| {
            let mut writer = csv::Writer::from_writer(output);
            writer.write_record(COLUMNS)?;
            for row in &rows {
                writer.write_record(row)?;
            }
            writer.flush()
        })
        .map_err(Fault::Write)
    }
}

/// What each case took, before the results are taken apart.
pub(super) fn of_cases(results: &[Option<FinishedCase>]) -> Vec<Option<StageTimes>> {
    results.iter().map(|r| r.as_ref().map(|r| r.times)).collect()
}

fn row(case: &Case, stage: &str, time: Duration) -> [String; COLUMNS.len()] {
    let voxels: usize = case
        .all_doses()
        .filter_map(|dose| dose.grid.as_ref())
        .map(|grid| grid.shape().iter().product::<usize>())
        .sum();
    let structures = case.structure_set.as_ref().map_or(0, |set| set.rois.len());
    let targets = case.names.iter().filter(|name| name.role.is_target()).count();
    [
        case.id.to_string(),
        case.technology.word().to_owned(),
        voxels.to_string(),
        structures.to_string(),
        targets.to_string(),
        stage.to_owned(),
        seconds(time),
    ]
}

fn row_of_all(stage: &str, time: Duration) -> [String; COLUMNS.len()] {
    let mut row = COLUMNS.map(|_| String::new());
    let [.., of_stage, of_time] = &mut row;
    (*of_stage, *of_time) = (stage.to_owned(), seconds(time));
    row
}

fn seconds(time: Duration) -> String {
    format!("{:.4}", time.as_secs_f64())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::testing::case_of;
    use tidydose_analyse::stage::{Stage, during, timed};

    #[test]
    fn a_row_for_each_stage_of_a_case_and_for_what_is_of_all() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("timings.csv");
        let ((), times) = timed(|| {
            during(Stage::Relations, || {
                let begin = cpu_time::ThreadTime::now();
                while begin.elapsed() < Duration::from_millis(20) {}
            });
        });
        let cases = [case_of(&["GTV", "Brainstem"]), case_of(&["GTV"])];
        let mut timings = Timings::at_first_case();
        timings.cases_done();
        timings.write(&path, &cases, &[Some(times), None]).unwrap();
        let mut reader = csv::Reader::from_path(&path).unwrap();
        assert_eq!(reader.headers().unwrap(), COLUMNS.as_slice());
        let rows: Vec<csv::StringRecord> = reader.records().map(Result::unwrap).collect();
        let relations: Vec<_> = rows.iter().filter(|r| &r[5] == "relations").collect();
        assert_eq!(relations.len(), 1, "the second case was not begun");
        assert_eq!(relations[0][0], *cases[0].id.as_str());
        assert_eq!(relations[0][3], *"2");
        assert!(relations[0][6].parse::<f64>().unwrap() >= 0.02, "{:?}", relations[0]);
        let of_all: Vec<&str> = rows.iter().filter(|r| r[0].is_empty()).map(|r| &r[5]).collect();
        assert_eq!(of_all, [SCAN, SHARED, TABLES]);
    }
}
