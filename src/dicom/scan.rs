//! The walk over an archive: every file below the given folders, by content and never by name, in
//! an order that depends on nothing but the names; then what only shows when all files are known:
//! duplicates, conflicts, series of slices. A bad file is a row and never ends the run. Must not
//! know which objects belong to one case.

#![allow(clippy::vec_box)] // what was seen of a file is moved and sorted more often than read

use std::path::{Component, Path, PathBuf, is_separator};
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};

use rayon::prelude::*;
use walkdir::{DirEntry, WalkDir};

use super::container::{self, ArchiveKind, ListedMember};
use super::duplicate::settle;
use super::error::Error;
use super::file_location::{FileLocation, plain_part};
use super::gather::gather;
use super::scanned_file::{
    Content, FileEntry, ScanWorker, ScannedFile, refused, scan_file, scan_stream,
};
use super::{Progress, Scan, ScanError};
use tidydose_rt::FileStatus;
use tidydose_rt::finding::{Code, Finding, Subject};
use tidydose_rt::identity::{Identity, Kind};

/// See [`super::scan`].
pub(super) fn scan(
    roots: &[PathBuf],
    identity: &Identity,
    watch: &(dyn Fn(Progress) + Sync),
    stop: &AtomicBool,
) -> Result<Scan, ScanError> {
    let (found, unreadable) = found(roots)?;
    let files_total = found.len();
    let counter = AtomicUsize::new(0);
    let looked: Vec<Result<FileWithMembers, FoundPath>> = found
        .into_par_iter()
        .map_init(
            || ScanWorker::new(identity),
            |worker, found| {
                if stop.load(Ordering::Relaxed) {
                    return Err(found);
                }
                let seen = opened(entry(found, roots, identity), worker);
                let files_seen = counter.fetch_add(1, Ordering::Relaxed) + 1;
                watch(Progress { files_seen, files_total });
                Ok(seen)
            },
        )
        .collect();
    let (mut seen, mut left) = (Vec::with_capacity(looked.len()), Vec::new());
    for file in looked {
        match file {
            Ok((file, mut members)) => {
                seen.push(file);
                seen.append(&mut members);
            }
            Err(found) => left.push(entry(found, roots, identity)),
        }
    }
    settle(&mut seen, identity);
    seen.extend(unreadable.into_iter().map(|place| {
        let error = Error::new(Code::FileUnreadable, "cannot be looked into");
        refused(entry(place, roots, identity), error, identity)
    }));
    let mut scan = gather(seen, identity);
    if !left.is_empty() {
        scan.paths.extend(left.into_iter().map(|entry| (entry.file, entry.place)));
        let message = "the scan was stopped before all files were seen";
        scan.findings.push(Finding::new(Code::RunInterrupted, Subject::default(), message));
        scan.findings.sort();
    }
    Ok(scan)
}

/// A file and, of an archive, its members.
type FileWithMembers = (Box<ScannedFile>, Vec<Box<ScannedFile>>);

/// A path, and below which root it is.
type FoundPath = (PathBuf, usize);

/// All files below the roots, and the places that could not be looked into.
fn found(roots: &[PathBuf]) -> Result<(Vec<FoundPath>, Vec<FoundPath>), ScanError> {
    let (mut found, mut unreadable) = (Vec::new(), Vec::new());
    for (index, root) in roots.iter().enumerate() {
        let fail = |source| ScanError { root: root.clone(), source };
        if std::fs::metadata(root).map_err(fail)?.is_dir() {
            std::fs::read_dir(root).map_err(fail)?;
        }
        // Of one folder, the order of paths is that of names.
        let by_path = |a: &DirEntry, b: &DirEntry| a.path().as_os_str().cmp(b.path().as_os_str());
        for item in WalkDir::new(root).follow_links(true).sort_by(by_path) {
            match item {
                Ok(item) if item.file_type().is_file() => found.push((item.into_path(), index)),
                Ok(_) => {}
                // A symbolic link that leads back to a folder above it adds no file.
                Err(error) if error.loop_ancestor().is_some() => {}
                Err(error) => {
                    unreadable.push((error.path().unwrap_or(root).to_path_buf(), index));
                }
            }
        }
    }
    Ok((found, unreadable))
}

fn entry((path, index): FoundPath, roots: &[PathBuf], identity: &Identity) -> FileEntry {
    let below = roots.get(index).map_or_else(String::new, |root| relative(root, &path));
    let name = if roots.len() > 1 { format!("{index}/{below}") } else { below };
    let file = identity.token(Kind::File, &name);
    FileEntry { place: FileLocation::file(path), name, file }
}

/// The path below its root with `/` between the parts; parts that are no plain text, or whose
/// ends a token would trim, are escaped so that two files never share one.
fn relative(root: &Path, path: &Path) -> String {
    let mut joined = String::with_capacity(path.as_os_str().len());
    let mut add = |part: &str| {
        if !joined.is_empty() {
            joined.push('/');
        }
        joined.push_str(part);
    };
    // A walk appends names to its root as it was given.
    let below = path.to_str().zip(root.to_str()).and_then(|(path, root)| path.strip_prefix(root));
    if let Some(below) = below {
        let parts = below.split(is_separator).filter(|part| !part.is_empty());
        parts.for_each(|part| add(&plain_part(part)));
    } else {
        for part in path.strip_prefix(root).unwrap_or(path).components() {
            let Component::Normal(name) = part else { continue };
            match name.to_str() {
                Some(text) => add(&plain_part(text)),
                None => add(&format!("{name:?}")),
            }
        }
    }
    if joined.is_empty() {
        return root.file_name().unwrap_or_default().to_string_lossy().into_owned();
    }
    joined
}

/// A file as it is, and of an archive all its members.
fn opened(entry: FileEntry, worker: &mut ScanWorker<'_>) -> FileWithMembers {
    let identity = worker.recent.identity();
    let mut seen = scan_file(entry, worker);
    let Content::Container(kind) = seen.content else { return (seen, Vec::new()) };
    let path = seen.place.path();
    seen.content = Content::Nothing;
    if kind == ArchiveKind::TarGzip && !container::gzip_holds_tar(path) {
        seen.leave(FileStatus::Foreign, "compressed; of gzip, only tar archives are opened");
        return (seen, Vec::new());
    }
    let (members, fault) = members(path, kind, &seen.name, identity);
    seen.leave(FileStatus::Archive, &format!("an archive with {} files", members.len()));
    if let Some(fault) = fault {
        let fault = fault.in_file(&seen.place.shown(), &seen.record.file);
        seen.refuse(fault, identity);
    }
    (seen, members)
}

/// All members of an archive, and what went wrong with the archive itself.
fn members(
    path: &Path,
    kind: ArchiveKind,
    archive: &str,
    identity: &Identity,
) -> (Vec<Box<ScannedFile>>, Option<Error>) {
    let entry = |listed: &ListedMember| {
        let name = format!("{archive}/{}", listed.member.name);
        let file = identity.token(Kind::File, &name);
        FileEntry { place: FileLocation::member(path, listed.member.clone()), name, file }
    };
    let not_read = |entry: FileEntry, why: &str| {
        let message = format!("cannot be read from its archive: {why}");
        refused(entry, Error::new(Code::FileUnreadable, message), identity)
    };
    if kind == ArchiveKind::Zip {
        return match container::list_zip(path) {
            Err(error) => (Vec::new(), Some(error)),
            Ok((list, fault)) => {
                let one = |worker: &mut ScanWorker<'_>, listed: &ListedMember| {
                    let entry = entry(listed);
                    match listed.refused {
                        Some(why) => not_read(entry, why),
                        None => scan_file(entry, worker),
                    }
                };
                (list.par_iter().map_init(|| ScanWorker::new(identity), one).collect(), fault)
            }
        };
    }
    let (mut seen, mut worker) = (Vec::new(), ScanWorker::new(identity));
    let fault = container::walk_tar(path, kind, &mut |listed, stream| {
        let entry = entry(&listed);
        let size = listed.member.size;
        seen.push(match listed.refused {
            Some(why) => not_read(entry, why),
            None => scan_stream(entry, stream, size, &mut worker),
        });
    });
    (seen, fault.err())
}

#[cfg(test)]
mod tests {
    use std::fs;

    use dicom_core::VR;
    use dicom_dictionary_std::{tags, uids};

    use super::super::encoding::Encoding;
    use super::super::fixtures::{self, Element, set, text};
    use super::*;
    use tidydose_geometry::units::Millimetre;
    use tidydose_rt::SpacingSource;
    use tidydose_rt::identity::Token;

    struct Archive(tempfile::TempDir);

    impl Archive {
        fn new() -> Self {
            Self(tempfile::tempdir().unwrap())
        }

        fn add(&self, name: &str, bytes: &[u8]) {
            let path = self.0.path().join(name);
            fs::create_dir_all(path.parent().unwrap()).unwrap();
            fs::write(path, bytes).unwrap();
        }

        fn put(&self, name: &str, parts: &[Element]) {
            self.add(name, &fixtures::file(parts, Encoding::EXPLICIT, false));
        }

        fn scan(&self) -> Scan {
            let roots = [self.0.path().to_path_buf()];
            super::scan(&roots, &Identity::kept(), &|_| {}, &AtomicBool::new(false)).unwrap()
        }
    }

    fn status(scan: &Scan, name: &str) -> FileStatus {
        let row = scan.inventory.files.iter().find(|row| row.file.as_str() == name);
        row.unwrap().status
    }

    fn count(scan: &Scan, code: Code) -> usize {
        scan.findings.iter().filter(|finding| finding.code == code).count()
    }

    #[test]
    fn an_archive_is_sorted_into_its_kinds() {
        let archive = Archive::new();
        archive.put("a/dose.txt", &fixtures::dose());
        archive.put("a/plan", &fixtures::plan());
        archive.put("b/c/structures.dcm", &fixtures::structure_set(fixtures::squares()));
        for (index, z) in [4.0, 0.0, 2.0].iter().enumerate() {
            archive.put(&format!("ct/{index}"), &fixtures::slice(&format!("1.2.7.{index}"), *z));
        }
        archive.put("record", &fixtures::common(uids::RT_BEAMS_TREATMENT_RECORD_STORAGE, "1.5"));
        archive.put("portal", &fixtures::common(uids::RT_IMAGE_STORAGE, "1.7"));
        archive.put("dir", &fixtures::common(uids::MEDIA_STORAGE_DIRECTORY_STORAGE, "1.6"));
        archive.add("notes.dcm", b"Some words, and no DICOM at all in spite of the name.");
        archive.add("empty.dcm", b"");
        archive
            .add("cut.dcm", &fixtures::file(&fixtures::dose(), Encoding::EXPLICIT, false)[..500]);
        let scan = archive.scan();
        for (name, expected) in [
            ("a/dose.txt", FileStatus::Read),
            ("a/plan", FileStatus::Read),
            ("b/c/structures.dcm", FileStatus::Read),
            ("ct/0", FileStatus::Read),
            ("record", FileStatus::Read),
            ("portal", FileStatus::Ignored),
            ("dir", FileStatus::Ignored),
            ("notes.dcm", FileStatus::Foreign),
            ("empty.dcm", FileStatus::Refused),
            ("cut.dcm", FileStatus::Refused),
        ] {
            assert_eq!(status(&scan, name), expected, "{name}");
        }
        let inventory = &scan.inventory;
        assert_eq!((inventory.doses.len(), inventory.plans.len()), (1, 1));
        assert_eq!((inventory.records.len(), inventory.registrations.len()), (1, 0));
        assert_eq!(inventory.images[0].spacing, Some(Millimetre::mm(2.0)));
        let set = &inventory.structure_sets[0];
        let spacing = set.rois[0].plane_spacing.unwrap();
        assert_eq!((spacing.distance.value(), spacing.source), (2.0, SpacingSource::Images));
        let codes: Vec<_> = scan.findings.iter().map(|finding| finding.code).collect();
        assert_eq!(codes, [Code::FileEmpty, Code::FileDamaged, Code::ObjectNotAnalysed]);
        assert_eq!(scan.errors.len(), 2);
        assert!(scan.paths[&Token::new("a/plan")].path().ends_with("a/plan"));
        assert_eq!(scan.ledger.patients[&Token::new("PAT-0001")], "PAT-0001");
        // The label of the plan, and of nothing else.
        let labels: Vec<_> = scan.ledger.plan_labels.iter().collect();
        assert_eq!(labels, [(&inventory.plans[0].origin.object, &"sample".to_owned())]);
    }

    #[test]
    fn the_same_object_counts_once_in_whatever_encoding() {
        let archive = Archive::new();
        archive.put("1", &fixtures::plan());
        archive.put("2", &fixtures::plan());
        archive.add("3", &fixtures::file(&fixtures::plan(), Encoding::IMPLICIT, true));
        archive.put("4", &fixtures::slice("1.2.7.1", 0.0));
        archive.put("5", &fixtures::slice("1.2.7.1", 0.0));
        let scan = archive.scan();
        assert_eq!(scan.inventory.plans.len(), 1);
        assert_eq!(scan.inventory.images[0].slices, 1);
        assert_eq!(status(&scan, "1"), FileStatus::Read);
        for name in ["2", "3", "5"] {
            assert_eq!(status(&scan, name), FileStatus::Duplicate, "{name}");
        }
        assert_eq!(count(&scan, Code::FileDuplicate), 3);
    }

    /// What counts is what samples and texts mean, not byte order, compression or character set.
    #[test]
    fn the_same_dose_in_another_byte_order_counts_once() {
        let archive = Archive::new();
        for (name, encoding) in
            [("1", Encoding::EXPLICIT), ("2", Encoding::EXPLICIT_BIG), ("3", Encoding::IMPLICIT)]
        {
            archive.add(name, &fixtures::file(&fixtures::dose(), encoding, false));
        }
        let mut unicode = fixtures::dose();
        set(&mut unicode, text(tags::SPECIFIC_CHARACTER_SET, VR::CS, "ISO_IR 192"));
        archive.put("4", &unicode);
        let scan = archive.scan();
        assert_eq!(scan.inventory.doses.len(), 1);
        assert_eq!(count(&scan, Code::FileDuplicate), 3);
        let mut other = fixtures::dose();
        let words = vec![65_537, 2, 3, 11, 12, 13, 101, 102, 103, 111, 112, 114];
        set(&mut other, Element::Samples(tags::PIXEL_DATA, words));
        archive.add("5", &fixtures::file(&other, Encoding::EXPLICIT_BIG, false));
        assert_eq!(count(&archive.scan(), Code::FileUidConflict), 5);
    }

    /// An enhanced image has its places in functional groups, shared or of each frame.
    #[test]
    fn a_multi_frame_image_states_the_distance_of_its_slices() {
        let archive = Archive::new();
        let mut image = fixtures::slice("1.2.7.1", 0.0);
        set(&mut image, text(tags::SOP_CLASS_UID, VR::UI, uids::ENHANCED_MR_IMAGE_STORAGE));
        let group = |tag, value: Element| Element::Items(tag, vec![vec![value]]);
        let along = text(tags::IMAGE_ORIENTATION_PATIENT, VR::DS, "1\\0\\0\\0\\0\\-1");
        let shared = vec![group(tags::PLANE_ORIENTATION_SEQUENCE, along)];
        let frame = |y: &str| {
            let at = text(tags::IMAGE_POSITION_PATIENT, VR::DS, &format!("0\\{y}\\0"));
            vec![group(tags::PLANE_POSITION_SEQUENCE, at)]
        };
        let frames = ["3", "0", "1.5"].map(frame).to_vec();
        set(&mut image, Element::Items(tags::SHARED_FUNCTIONAL_GROUPS_SEQUENCE, vec![shared]));
        set(&mut image, Element::Items(tags::PER_FRAME_FUNCTIONAL_GROUPS_SEQUENCE, frames));
        archive.put("image", &image);
        archive.put("set", &fixtures::structure_set(fixtures::squares()));
        let scan = archive.scan();
        let series = &scan.inventory.images[0];
        assert_eq!((series.slices, series.objects.len()), (3, 1));
        assert_eq!(series.spacing, Some(Millimetre::mm(1.5)));
        let roi = &scan.inventory.structure_sets[0].rois[0];
        assert_eq!(roi.plane_spacing.map(|s| s.distance), series.spacing);
    }

    /// Of an image only the head is read, of a plan the object: the patient is the same.
    #[test]
    fn whatever_pads_an_identifier_is_no_part_of_it() {
        for padding in ["", " ", "\0", "\n", "\r\n", "\t"] {
            let archive = Archive::new();
            let (mut image, mut plan) = (fixtures::slice("1.2.7.1", 0.0), fixtures::plan());
            for parts in [&mut image, &mut plan] {
                set(parts, text(tags::PATIENT_ID, VR::LO, &format!("PAT-0001{padding}")));
            }
            archive.put("image", &image);
            archive.put("plan", &plan);
            let inventory = archive.scan().inventory;
            let patient = Some(Token::new("PAT-0001"));
            assert_eq!(inventory.images[0].patient, patient, "{padding:?}");
            assert_eq!(inventory.plans[0].origin.patient, patient, "{padding:?}");
        }
    }

    #[test]
    fn different_content_under_one_uid_is_refused_on_both_sides() {
        let archive = Archive::new();
        let mut other = fixtures::plan();
        set(&mut other, text(tags::APPROVAL_STATUS, VR::CS, "UNAPPROVED"));
        archive.put("1", &fixtures::plan());
        archive.put("2", &other);
        let scan = archive.scan();
        assert!(scan.inventory.plans.is_empty());
        assert_eq!(
            (status(&scan, "1"), status(&scan, "2")),
            (FileStatus::Refused, FileStatus::Refused)
        );
        assert_eq!(count(&scan, Code::FileUidConflict), 2);
    }

    #[test]
    fn no_identifier_leaves_under_a_key() {
        let archive = Archive::new();
        archive.put("person/structures", &fixtures::structure_set(fixtures::squares()));
        archive.put("person/dose", &fixtures::dose());
        archive.put("person/plan", &fixtures::plan());
        let mut bad = fixtures::dose();
        set(&mut bad, text(tags::SOP_INSTANCE_UID, VR::UI, "1.2.3.77"));
        set(&mut bad, text(tags::DOSE_GRID_SCALING, VR::DS, "Sample^Person PAT-0001"));
        archive.put("person/bad", &bad);
        let roots = [archive.0.path().to_path_buf()];
        let identity = Identity::keyed([9; 32]);
        let scan = super::scan(&roots, &identity, &|_| {}, &AtomicBool::new(false)).unwrap();
        assert_eq!(scan.errors.len(), 1);
        let shown = format!("{:?}{:?}", scan.inventory, scan.findings).to_lowercase();
        let names = ["person/", "^person", "pat-0001", "1.2.3.", "machine-a", "2023", "20240229"];
        for identifier in names {
            assert!(!shown.contains(identifier), "{identifier}");
        }
        let patient = scan.inventory.plans[0].origin.patient.clone().unwrap();
        assert_eq!(scan.ledger.patients[&patient], "PAT-0001");
    }

    #[test]
    fn the_result_does_not_depend_on_the_number_of_threads() {
        let archive = Archive::new();
        for index in 0..40 {
            let uid = format!("1.2.7.{index}");
            archive.put(&format!("ct/{index}"), &fixtures::slice(&uid, f64::from(index)));
        }
        archive.put("plan", &fixtures::plan());
        let with = |threads| {
            let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
            let scan = pool.install(|| archive.scan());
            (scan.inventory, scan.findings)
        };
        assert_eq!(with(1), with(4));
    }

    #[test]
    fn a_stopped_scan_says_so() {
        let archive = Archive::new();
        archive.put("plan", &fixtures::plan());
        let roots = [archive.0.path().to_path_buf()];
        let scan = super::scan(&roots, &Identity::kept(), &|_| {}, &AtomicBool::new(true)).unwrap();
        assert!(scan.inventory.files.is_empty());
        assert_eq!(scan.findings[0].code, Code::RunInterrupted);
    }

    #[test]
    fn a_missing_root_is_an_error() {
        let roots = [PathBuf::from("no/such/folder")];
        let error = super::scan(&roots, &Identity::kept(), &|_| {}, &AtomicBool::new(false));
        assert!(error.unwrap_err().to_string().starts_with("no/such/folder"));
    }

    #[test]
    fn several_roots_keep_their_files_apart() {
        let (one, two) = (Archive::new(), Archive::new());
        one.put("plan", &fixtures::plan());
        two.put("plan", &fixtures::plan());
        let roots = [one.0.path().to_path_buf(), two.0.path().join("plan")];
        let scan =
            super::scan(&roots, &Identity::kept(), &|_| {}, &AtomicBool::new(false)).unwrap();
        assert_eq!(status(&scan, "0/plan"), FileStatus::Read);
        assert_eq!(status(&scan, "1/plan"), FileStatus::Duplicate);
    }
}
