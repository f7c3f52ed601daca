//! Where the study is written, and the refusal to write where something else lives.

use std::fs;
use std::path::{Path, PathBuf};

use super::fault::Fault;
use tidydose_report::decide;
use tidydose_table::user::{answers, columns_file, limits};
use tidydose_table::{
    codebook, data_package, database, run, run_schema, spreadsheet_csv, workbook,
};

/// Paths within a study folder.
#[derive(Debug, Clone)]
pub(super) struct StudyFolder {
    root: PathBuf,
    existed: bool,
}

impl StudyFolder {
    /// The study at `root`, which is absent, empty or a study already.
    ///
    /// # Errors
    /// When it is a file, holds something else, or lies inside one of the archives, where the next
    /// run would read its tables as input.
    pub(super) fn open(root: &Path, archives: &[PathBuf]) -> Result<Self, Fault> {
        let study = Self { root: root.to_path_buf(), existed: is_study(root) };
        if root.exists() && !root.is_dir() {
            return Err(Fault::folder(root, "is a file; give a folder to --study"));
        }
        if !study.existed && !is_empty(root)? {
            return Err(Fault::folder(
                root,
                "is neither empty nor a study (it has no folder `tables` or `cases`); choose another --study",
            ));
        }
        let place = resolved(root);
        match archives.iter().find(|a| a.is_dir() && place.starts_with(resolved(a))) {
            None => Ok(study),
            Some(archive) => Err(Fault::folder(
                root,
                format!(
                    "lies inside the archive {}; choose a --study outside of it",
                    archive.display()
                ),
            )),
        }
    }

    /// Whether it was a study before this run.
    #[must_use]
    pub(super) const fn existed(&self) -> bool {
        self.existed
    }

    /// Whether metrics were written here before.
    #[must_use]
    pub(super) fn is_measured(&self) -> bool {
        self.run_file().exists()
    }

    /// The folder of the tables.
    #[must_use]
    pub(super) fn tables(&self) -> PathBuf {
        self.root.join("tables")
    }

    /// `study.sqlite`.
    #[must_use]
    pub(super) fn database(&self) -> PathBuf {
        self.root.join(database::FILE)
    }

    /// The folder of the tables of a share.
    #[must_use]
    pub(super) fn share(&self, name: &str) -> PathBuf {
        self.root.join("shares").join(name)
    }

    /// The folder of the parts of finished cases.
    #[must_use]
    pub(super) fn cases(&self) -> PathBuf {
        self.root.join(CASES)
    }

    /// The study itself.
    #[must_use]
    pub(super) fn root(&self) -> &Path {
        &self.root
    }

    /// `datapackage.json`.
    #[must_use]
    pub(super) fn data_package(&self) -> PathBuf {
        self.root.join(data_package::FILE)
    }

    /// `codebook.xml`.
    #[must_use]
    pub(super) fn codebook(&self) -> PathBuf {
        self.root.join(codebook::FILE)
    }

    /// `study.xlsx`.
    #[must_use]
    pub(super) fn workbook(&self) -> PathBuf {
        self.root.join(workbook::FILE)
    }

    /// The folder of the tables as spreadsheets of a region want them.
    #[must_use]
    pub(super) fn spreadsheet(&self) -> PathBuf {
        self.root.join(spreadsheet_csv::FOLDER)
    }

    /// `run.json`.
    #[must_use]
    pub(super) fn run_file(&self) -> PathBuf {
        self.root.join(run::FILE)
    }

    /// `run.schema.json`.
    #[must_use]
    pub(super) fn run_schema(&self) -> PathBuf {
        self.root.join(run_schema::FILE)
    }

    /// What the tables were made from, for the next run.
    #[must_use]
    pub(super) fn made_tables(&self) -> PathBuf {
        self.root.join(MADE_TABLES)
    }

    /// `names.csv`, which belongs to the user.
    #[must_use]
    pub(super) fn names(&self) -> PathBuf {
        self.root.join("names.csv")
    }

    /// `limits.csv`, which belongs to the user.
    #[must_use]
    pub(super) fn limits(&self) -> PathBuf {
        self.root.join(limits::FILE)
    }

    /// `choices.csv`, which belongs to the user.
    #[must_use]
    pub(super) fn choices(&self) -> PathBuf {
        self.root.join("choices.csv")
    }

    /// `columns.csv`, which belongs to the user.
    #[must_use]
    pub(super) fn columns(&self) -> PathBuf {
        self.root.join(columns_file::FILE)
    }

    /// `lesions.csv`, which belongs to the user.
    #[must_use]
    pub(super) fn lesions(&self) -> PathBuf {
        self.root.join("lesions.csv")
    }

    /// `clinical_lesions.csv`, which belongs to the user.
    #[must_use]
    pub(super) fn clinical_lesions(&self) -> PathBuf {
        self.root.join("clinical_lesions.csv")
    }

    /// `sums.csv`, which belongs to the user.
    #[must_use]
    pub(super) fn sums(&self) -> PathBuf {
        self.root.join("sums.csv")
    }

    /// `decisions.csv`, which belongs to the user.
    #[must_use]
    pub(super) fn decisions(&self) -> PathBuf {
        self.root.join("decisions.csv")
    }

    /// `decide.html`.
    #[must_use]
    pub(super) fn decide_page(&self) -> PathBuf {
        self.root.join(decide::FILE)
    }

    /// Where files of answers go that were taken over.
    #[must_use]
    pub(super) fn answered(&self) -> PathBuf {
        self.root.join("answered")
    }

    /// `prescriptions.csv`, which belongs to the user.
    #[must_use]
    pub(super) fn prescriptions(&self) -> PathBuf {
        self.root.join("prescriptions.csv")
    }
}

/// Holds the parts of finished cases; a run that was killed leaves nothing else.
const CASES: &str = "cases";

/// Of no use to anybody but the program.
const MADE_TABLES: &str = ".tables";

fn is_study(root: &Path) -> bool {
    let folders = ["tables", CASES];
    root.join(run::FILE).is_file() || folders.iter().any(|f| root.join(f).is_dir())
}

/// The files of the user, which may be there before the study is.
const OWN_FILES: [&str; 9] = [
    "names.csv",
    "prescriptions.csv",
    "lesions.csv",
    "clinical_lesions.csv",
    "sums.csv",
    "decisions.csv",
    "choices.csv",
    "limits.csv",
    columns_file::FILE,
];

/// Absent counts as empty; files of the user of a study to come and hidden files do not count.
fn is_empty(root: &Path) -> Result<bool, Fault> {
    if !root.exists() {
        return Ok(true);
    }
    let refused = |e: std::io::Error| Fault::folder(root, format!("cannot be read: {e}"));
    for entry in fs::read_dir(root).map_err(refused)? {
        let path = entry.map_err(refused)?.path();
        let name = path.file_name().unwrap_or_default().to_string_lossy().into_owned();
        if answers::is_of_answers(&path) {
            continue;
        }
        if !name.starts_with('.') && !OWN_FILES.contains(&name.as_str()) {
            return Ok(false);
        }
    }
    Ok(true)
}

/// The path without links and dots, as far as it exists.
pub(super) fn resolved(path: &Path) -> PathBuf {
    if let Ok(whole) = path.canonicalize() {
        return whole;
    }
    let absolute = std::path::absolute(path).unwrap_or_else(|_| path.to_path_buf());
    match (absolute.parent(), absolute.file_name()) {
        (Some(parent), Some(name)) => resolved(parent).join(name),
        _ => absolute,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn message(root: &Path, archives: &[PathBuf]) -> String {
        StudyFolder::open(root, archives).unwrap_err().to_string()
    }

    #[test]
    fn foreign_folders_and_files_are_refused_and_studies_are_not() {
        let place = tempfile::tempdir().unwrap();
        let root = place.path().join("study");
        assert!(!StudyFolder::open(&root, &[]).unwrap().existed());
        fs::create_dir(&root).unwrap();
        fs::write(root.join("names.csv"), "").unwrap();
        assert!(!StudyFolder::open(&root, &[]).unwrap().existed());
        fs::write(root.join("letter.txt"), "").unwrap();
        assert!(message(&root, &[]).contains("neither empty nor a study"));
        fs::create_dir(root.join("tables")).unwrap();
        assert!(StudyFolder::open(&root, &[]).unwrap().existed());
        assert!(message(&root.join("letter.txt"), &[]).contains("is a file"));
    }

    #[test]
    fn a_study_inside_its_archive_is_refused() {
        let place = tempfile::tempdir().unwrap();
        let archive = place.path().join("a/../a");
        fs::create_dir(place.path().join("a")).unwrap();
        let archives = [archive.clone()];
        assert!(message(&place.path().join("a/b/study"), &archives).contains("inside the archive"));
        assert!(StudyFolder::open(&place.path().join("ab"), &archives).is_ok());
    }
}
