//! Under which name the results of a case are kept: a digest of all that they follow from. These
//! are the contents of the files of the case, what was read from headers and decided about it, the
//! settings, and the program itself. Where the files lie and how they are called has no part in it.

use std::sync::LazyLock;

use include_dir::{Dir, include_dir};
use sha2::{Digest, Sha256};

use tidydose_analyse as analyse;
use tidydose_case::{Case, Treatment};
use tidydose_metrics::Metric;
use tidydose_rt::Origin;
use tidydose_rt::identity::Token;
use tidydose_table as table;

/// 128 bits: as good as never the same for two.
const DIGITS: usize = 32;

/// The rooms in which numbers come about, as they were when the program was built.
static ROOMS: [Dir<'_>; 7] = [
    include_dir!("$CARGO_MANIFEST_DIR/../geometry"),
    include_dir!("$CARGO_MANIFEST_DIR/../rt"),
    include_dir!("$CARGO_MANIFEST_DIR/../dicom"),
    include_dir!("$CARGO_MANIFEST_DIR/../case"),
    include_dir!("$CARGO_MANIFEST_DIR/../dose"),
    include_dir!("$CARGO_MANIFEST_DIR/../metrics"),
    include_dir!("$CARGO_MANIFEST_DIR/../analyse"),
];

/// Single files that numbers rest on.
const FILES: [&[u8]; 5] = [
    include_bytes!("../geometry/units.rs"),
    include_bytes!("../rt/identity.rs"),
    include_bytes!("../rt/finding.rs"),
    include_bytes!("one_case.rs"),
    include_bytes!("../../Cargo.lock"),
];

/// Digest of the program: version, sources and versions of what it is built from. A build with any
/// change that may reach a number does not use the parts of another one, and builds for different
/// systems use each other's.
static PROGRAM: LazyLock<Vec<u8>> = LazyLock::new(|| {
    let mut hash = Sha256::new();
    hash.update(env!("CARGO_PKG_VERSION"));
    for room in &ROOMS {
        add_folder(&mut hash, room);
    }
    for file in FILES {
        add_text(&mut hash, file);
    }
    hash.finalize().to_vec()
});

fn add_folder(hash: &mut Sha256, folder: &Dir<'_>) {
    let mut files: Vec<_> = folder.files().collect();
    files.sort_by_key(|f| f.path());
    for file in files {
        add_text(hash, file.contents());
    }
    let mut folders: Vec<_> = folder.dirs().collect();
    folders.sort_by_key(|d| d.path());
    for inner in folders {
        add_folder(hash, inner);
    }
}

/// Line ends differ between checkouts and do not count.
fn add_text(hash: &mut Sha256, text: &[u8]) {
    for line in text.split(|b| *b == b'\r') {
        hash.update(line);
    }
    hash.update([0]);
}

/// What the keys of one run have in common.
#[derive(Debug, Clone)]
pub(super) struct PartKeys {
    common: String,
}

impl PartKeys {
    /// For the settings of the run.
    pub(super) fn new(settings: &analyse::Settings) -> Self {
        // Named one by one: a new setting does not compile until it has its place here.
        let analyse::Settings {
            interpolation,
            ends,
            metrics,
            limits,
            regions,
            alpha_beta,
            uncertain_from,
        } = settings;
        let metrics: Vec<String> = metrics.iter().map(Metric::to_string).collect();
        let limits = table::limits::digest(limits);
        let (interpolation, ends) = (interpolation.word(), ends.word());
        let settings = format!(
            "{interpolation:?} {ends:?} {metrics:?} {limits} {regions} {alpha_beta:?} {uncertain_from}"
        );
        let program: String = PROGRAM.iter().map(|b| format!("{b:02x}")).collect();
        Self { common: format!("{program} {settings}") }
    }

    /// The key of a case as it was joined and named, before it is measured.
    pub(super) fn of(&self, case: &Case) -> String {
        let mut case = case.clone();
        // Which plan was treated, and who counts, has no part in the numbers of a case.
        let delivery = case.treatment.delivery;
        case.treatment = Treatment { delivery, ..Treatment::default() };
        for origin in origins_mut(&mut case) {
            origin.file = Token::new("");
        }
        let digest = Sha256::digest(format!("{} {case:?}", self.common));
        let mut key: String = digest.iter().map(|b| format!("{b:02x}")).collect();
        key.truncate(DIGITS);
        key
    }
}

/// Where the objects of a case come from.
fn origins_mut(case: &mut Case) -> Vec<&mut Origin> {
    let source = &mut case.dose_source;
    let mut list: Vec<&mut Origin> = Vec::new();
    list.extend(case.plan.iter_mut().map(|p| &mut p.origin));
    list.extend(case.structure_set.iter_mut().map(|s| &mut s.origin));
    list.extend(case.dose.iter_mut().map(|d| &mut d.origin));
    list.extend(source.parts.iter_mut().map(|p| &mut p.dose.origin));
    list.extend(source.local.iter_mut().map(|d| &mut d.origin));
    list
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::testing::case_of;
    use tidydose_case::{NameBasis, RoleReason};

    #[test]
    fn the_key_follows_what_results_follow_from() {
        let settings = analyse::Settings::default();
        let keys = PartKeys::new(&settings);
        let case = case_of(&["GTV", "Brainstem"]);
        let key = keys.of(&case);
        assert_eq!((key.len(), key.clone()), (DIGITS, PartKeys::new(&settings).of(&case)));
        let mut renamed = case.clone();
        for origin in origins_mut(&mut renamed) {
            origin.file = Token::new("elsewhere");
        }
        assert_eq!(keys.of(&renamed), key);
        let mut other = case.clone();
        for origin in origins_mut(&mut other) {
            origin.digest = "changed".to_owned();
        }
        assert_ne!(keys.of(&other), key, "another content");
        let mut decided = case.clone();
        decided.names[1].basis = NameBasis::User;
        assert_ne!(keys.of(&decided), key, "a decision about it");
        let mut treated = case.clone();
        treated.treatment.reason = RoleReason::UserYes;
        treated.treatment.other_treated = true;
        assert_eq!(keys.of(&treated), key, "what was treated costs no measurement");
        let settings = analyse::Settings { regions: false, ..settings };
        assert_ne!(PartKeys::new(&settings).of(&case), key, "another setting");
        assert!(PROGRAM.len() == 32 && ROOMS.iter().all(|r| r.files().count() >= 3));
    }
}
