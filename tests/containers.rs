//! Archives as people keep them: zip and tar read in place, long and accented names, links that
//! lead in a circle, and the damage that packing adds. The numbers are those of the plain folder.

#![allow(clippy::unwrap_used, clippy::panic)] // helpers of tests fail as tests do

use std::collections::BTreeMap;
use std::io::{Cursor, Write};

use flate2::Compression;
use flate2::write::GzEncoder;
use tidydose_analyse::{Ends, Settings};
use tidydose_rt::FileStatus;
use tidydose_rt::finding::Code;
use zip::write::SimpleFileOptions;
use zip::{CompressionMethod, ZipWriter};

use crate::archive::{Archive, Course, Measured};
use crate::phantom::dicom::Roi;
use crate::phantom::field::{Field, Lattice};
use crate::phantom::solid::{PlaneStack, Solid};

type Files = Vec<(String, Vec<u8>)>;

fn course(patient: &str) -> Course {
    let solid = Solid::ball([0.3, 0.2, 0.1], 3.0);
    let roi = Roi::new(1, "PTV1", "PTV").outlining(&solid, &PlaneStack::axial(1.5, 0.0), 12);
    let lattice = Lattice::around([0.0; 3], [7.0; 3], 2.0);
    let field = Field::gaussian([0.0; 3], 24.0, 4.0);
    Course::new(patient, vec![roi], (&field, &lattice), &[(1, 15.0)])
}

fn files() -> Files {
    let named = course("PACKED").files().into_iter();
    named.map(|(name, bytes)| (format!("export/{name}"), bytes)).collect()
}

fn settings() -> Settings {
    Settings { ends: Ends::HalfSlice, ..Settings::default() }
}

fn zipped(files: &Files, method: CompressionMethod) -> Vec<u8> {
    let mut archive = ZipWriter::new(Cursor::new(Vec::new()));
    for (name, bytes) in files {
        let options = SimpleFileOptions::default().compression_method(method);
        archive.start_file(name.as_str(), options).unwrap();
        archive.write_all(bytes).unwrap();
    }
    archive.finish().unwrap().into_inner()
}

fn tarred(files: &Files) -> Vec<u8> {
    let mut archive = tar::Builder::new(Vec::new());
    for (name, bytes) in files {
        let mut header = tar::Header::new_gnu();
        // A name as it is: the builder itself refuses those that climb out of the folder.
        let field = &mut header.as_gnu_mut().unwrap().name;
        field[..name.len()].copy_from_slice(name.as_bytes());
        header.set_size(bytes.len() as u64);
        header.set_mode(0o644);
        header.set_cksum();
        archive.append(&header, bytes.as_slice()).unwrap();
    }
    archive.into_inner().unwrap()
}

fn gzipped(bytes: &[u8]) -> Vec<u8> {
    let mut stream = GzEncoder::new(Vec::new(), Compression::fast());
    stream.write_all(bytes).unwrap();
    stream.finish().unwrap()
}

/// Every way of packing, with the name the archive is given.
fn packed(files: &Files) -> [(&'static str, Vec<u8>); 4] {
    [
        ("stored.zip", zipped(files, CompressionMethod::Stored)),
        ("deflated", zipped(files, CompressionMethod::Deflated)),
        ("plain.tar", tarred(files)),
        ("small.tgz", gzipped(&tarred(files))),
    ]
}

fn values(measured: &Measured) -> BTreeMap<String, f64> {
    measured.values(1)
}

fn alone(name: &str, bytes: &[u8]) -> Measured {
    let archive = Archive::new();
    archive.add(name, bytes);
    archive.measure(&settings())
}

fn reason<'m>(measured: &'m Measured, name: &str) -> &'m str {
    let mut rows = measured.scan.inventory.files.iter();
    &rows.find(|row| row.file.as_str() == name).unwrap_or_else(|| panic!("no row {name}")).reason
}

#[test]
fn a_packed_case_is_the_same_case() {
    let plain = values(&course("PACKED").measure(&settings()));
    assert!(plain.contains_key("PaddickConformity"));
    for (name, bytes) in packed(&files()) {
        let measured = alone(name, &bytes);
        assert_eq!(values(&measured), plain, "{name}");
        assert_eq!(measured.status(name), FileStatus::Archive);
        assert_eq!(reason(&measured, name), "an archive with 3 files");
        for (member, _) in files() {
            assert_eq!(measured.status(&format!("{name}/{member}")), FileStatus::Read);
        }
        assert!(measured.findings.iter().all(|f| f.code != Code::ArchiveDamaged), "{name}");
    }
}

/// A name inside an archive is text: nothing is written, wherever it points.
#[test]
fn names_inside_an_archive_are_not_paths() {
    let dose = course("PACKED").files()[2].1.clone();
    let names = ["../../climbing", "/absolute", "C:\\drive", "a/../b", "plain "];
    let hostile: Files = names.iter().map(|n| ((*n).to_owned(), dose.clone())).collect();
    for (name, bytes) in packed(&hostile) {
        let archive = Archive::new();
        archive.add(&format!("deep/er/{name}"), &bytes);
        let measured = archive.measure(&settings());
        assert_eq!(measured.scan.inventory.files.len(), 1 + names.len(), "{name}");
        assert_eq!(crate::archive::files_below(archive.path()).len(), 1, "{name}");
        let read = |status| {
            let rows = measured.scan.inventory.files.iter();
            rows.filter(|row| row.status == status).count()
        };
        assert_eq!((read(FileStatus::Read), read(FileStatus::Duplicate)), (1, 4), "{name}");
    }
}

#[test]
fn the_same_object_in_and_beside_an_archive_counts_once() {
    for (name, bytes) in packed(&files()) {
        let archive = Archive::new();
        archive.put("a", &course("PACKED"));
        archive.add(&format!("b/{name}"), &bytes);
        let measured = archive.measure(&settings());
        assert_eq!(measured.cases.len(), 1, "{name}");
        assert_eq!(measured.status("a/dose.dcm"), FileStatus::Read);
        let member = format!("b/{name}/export/dose.dcm");
        assert_eq!(measured.status(&member), FileStatus::Duplicate);
    }
}

#[test]
fn an_archive_inside_an_archive_is_not_opened() {
    for (name, inner) in packed(&files()) {
        let outer: Files = vec![(name.to_owned(), inner)];
        for (outer_name, bytes) in packed(&outer) {
            let measured = alone(outer_name, &bytes);
            let row = format!("{outer_name}/{name}");
            assert_eq!(measured.status(&row), FileStatus::Foreign);
            assert!(reason(&measured, &row).contains("archive inside an archive"));
        }
    }
}

#[test]
fn gzip_around_anything_else_is_foreign() {
    let measured = alone("notes.gz", &gzipped(&b"Minutes of the meeting. ".repeat(100)));
    assert_eq!(measured.status("notes.gz"), FileStatus::Foreign);
    assert!(reason(&measured, "notes.gz").contains("only tar archives are opened"));
}

/// Cut anywhere, an archive loses the members behind the cut, says so, and keeps the others. The
/// directory of a zip is at its end, so that a cut zip is lost as a whole.
#[test]
fn a_cut_archive_says_what_is_missing() {
    for (name, bytes) in packed(&files()) {
        for share in [3, 5, 8] {
            let archive = Archive::new();
            archive.put("sound", &course("SOUND"));
            archive.add(name, &bytes[..bytes.len() * share / 10]);
            let measured = archive.measure(&settings());
            assert_eq!(measured.status(name), FileStatus::Refused, "{name} {share}");
            assert!(measured.has(Code::ArchiveDamaged), "{name} {share}");
            assert_eq!(measured.status("sound/dose.dcm"), FileStatus::Read);
            if name.ends_with("zip") || name == "deflated" {
                assert_eq!(measured.scan.inventory.files.len(), 4, "{name} {share}");
            }
        }
    }
    let cut = tarred(&files());
    let structures = files()[0].1.len();
    let measured = alone("cut.tar", &cut[..512 + structures + 2000]);
    assert_eq!(measured.status("cut.tar/export/structures.dcm"), FileStatus::Read);
    assert_eq!(measured.status("cut.tar/export/plan.dcm"), FileStatus::Refused);
}

/// The checksum of the archive sees a flipped bit that DICOM itself cannot see.
#[test]
fn a_flipped_bit_in_a_zip_is_seen() {
    let mut bytes = zipped(&files(), CompressionMethod::Stored);
    let dose = files()[2].1.clone();
    let at = bytes.windows(dose.len()).position(|window| window == dose).unwrap();
    bytes[at + dose.len() - 5] ^= 1;
    let measured = alone("flipped.zip", &bytes);
    assert_eq!(measured.status("flipped.zip/export/dose.dcm"), FileStatus::Refused);
    assert!(reason(&measured, "flipped.zip/export/dose.dcm").contains("checksum"));
    assert_eq!(measured.status("flipped.zip/export/plan.dcm"), FileStatus::Read);
}

/// Changes a field at an offset from each head in the directory of a zip (`PK\x01\x02`).
fn patched(mut bytes: Vec<u8>, offset: usize, value: &[u8]) -> Vec<u8> {
    let heads: Vec<usize> =
        (0..bytes.len()).filter(|at| bytes[*at..].starts_with(b"PK\x01\x02")).collect();
    for head in heads {
        bytes[head + offset..head + offset + value.len()].copy_from_slice(value);
    }
    bytes
}

/// APPNOTE 4.3.12: in the directory, flags are at byte 8, the method at 10, the size at 24.
#[test]
fn members_that_cannot_be_read_have_rows_with_the_reason() {
    let bytes = zipped(&files(), CompressionMethod::Deflated);
    for (offset, value, why) in [
        (8, &[1, 0][..], "encrypted"),
        (10, &[14, 0][..], "other than deflate"),
        (24, &[0, 0, 0, 0x60][..], "would grow"),
    ] {
        let measured = alone("odd.zip", &patched(bytes.clone(), offset, value));
        for (member, _) in files() {
            let row = format!("odd.zip/{member}");
            assert_eq!(measured.status(&row), FileStatus::Refused, "{why}");
            assert!(reason(&measured, &row).contains(why), "{}", reason(&measured, &row));
        }
    }
}

/// 64 MiB of zeros in 64 KiB: its first bytes are enough to leave it alone.
#[test]
fn what_grows_a_thousandfold_is_left_after_its_first_bytes() {
    let zeros: Files = vec![("zeros".into(), vec![0; 64 << 20])];
    let bytes = zipped(&zeros, CompressionMethod::Deflated);
    assert!(bytes.len() < 100_000);
    let archive = Archive::new();
    archive.add("bomb.zip", &bytes);
    let used = allocation_counter::measure(|| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(1).use_current_thread().build();
        let measured = pool.unwrap().install(|| archive.measure(&settings()));
        assert_eq!(measured.status("bomb.zip/zeros"), FileStatus::Foreign);
    });
    // A deflate window of 32 KiB, buffers, and what the settings and rows take.
    assert!(used.bytes_max < 1 << 20, "{} bytes", used.bytes_max);
}

#[test]
fn long_and_accented_names_are_names() {
    let archive = Archive::new();
    let folder = "Straße/œuvre/Пример/日本/".to_owned() + &"long ".repeat(40) + "end";
    archive.put(&folder, &course("NAMED"));
    let measured = archive.measure(&settings());
    assert_eq!(measured.status(&format!("{folder}/dose.dcm")), FileStatus::Read);
    assert_eq!(values(&measured), values(&course("NAMED").measure(&settings())));
}

/// What the program leaves behind for an archive that stays packed: tables as for a folder, the
/// members' names in the key and nowhere else, and with `--strict` no value that is in doubt.
#[test]
fn the_program_reads_packed_archives_and_refuses_doubts_when_strict() {
    let place = Archive::new();
    let mut gap = course("PACKED");
    let (solid, stack) = (Solid::ball([0.3, 0.2, 0.1], 3.0), PlaneStack::axial(0.75, 0.0));
    gap.set.rois[0] = Roi::new(1, "PTV1", "PTV").outlining(&solid, &stack, 12);
    gap.set.rois[0].contours.remove(3);
    let named = gap.files().into_iter();
    let files: Files = named.map(|(n, bytes)| (format!("a person/{n}"), bytes)).collect();
    place.add("in/all.zip", &zipped(&files, CompressionMethod::Deflated));
    let run = |extra: &[&str]| {
        let mut command = assert_cmd::Command::cargo_bin("tidydose").unwrap();
        command.current_dir(place.path()).args(["measure", "in", "--ends", "half_slice"]);
        command.args(["--quiet"]).args(extra).output().unwrap().status.code()
    };
    let read = |name: &str| std::fs::read_to_string(place.path().join(name)).unwrap();
    let volumes = |study: &str| -> Vec<(String, String)> {
        let path = place.path().join(study).join("tables/metrics.csv");
        let rows = csv::Reader::from_path(path).unwrap().into_deserialize();
        let rows = rows.map(|row| -> BTreeMap<String, String> { row.unwrap() });
        // Regions that nobody drew have volumes too, but no ROI Number.
        let rows =
            rows.filter(|row| row["metric"] == "Volume[cc]" && !row["roi_number"].is_empty());
        rows.map(|row| (row["status"].clone(), row["value"].clone())).collect()
    };
    assert_eq!(run(&["--study", "lenient"]), Some(0));
    assert_eq!(volumes("lenient").len(), 1);
    assert_eq!(volumes("lenient")[0].0, "ok");
    assert!(read("lenient-key/file_key.csv").contains("all.zip/a person/dose.dcm"));
    for entry in ["files", "findings"] {
        assert!(!read(&format!("lenient/tables/{entry}.csv")).contains("person"));
    }
    assert_eq!(run(&["--study", "strict", "--strict"]), Some(1));
    assert_eq!(volumes("strict"), [("excluded".to_owned(), String::new())]);
    assert!(read("strict/run.json").contains("\"strict\": true"));
    assert!(!read("lenient/run.json").contains("strict"));
}

/// A link back to a folder above adds no file; a link to nowhere is a row.
#[cfg(unix)]
#[test]
fn links_in_a_circle_end() {
    use std::os::unix::fs::symlink;
    let archive = Archive::new();
    archive.put("a", &course("LINKED"));
    symlink(archive.path(), archive.path().join("a/up")).unwrap();
    symlink("self", archive.path().join("self")).unwrap();
    symlink("nowhere", archive.path().join("gone")).unwrap();
    let measured = archive.measure(&settings());
    assert_eq!(measured.cases.len(), 1);
    for name in ["gone", "self"] {
        assert_eq!(measured.status(name), FileStatus::Refused, "{name}");
    }
    assert_eq!(measured.scan.inventory.files.len(), 5, "{:?}", measured.scan.inventory.files);
}
