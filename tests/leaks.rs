//! Nothing of a person gets out: a name, a number and a birth date stand in every attribute of a small
//! archive that has room for them, in file names and in folders; every command runs over it, and every
//! byte of everything it writes is searched, compressed files unpacked.

#![allow(clippy::unwrap_used)] // helpers of tests fail as tests do

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::io::{Cursor, Read};
use std::path::Path;

use crate::anonymise::{markers_in, objects, run};
use crate::archive::{Course, files_below};
use crate::measured::rows_of;
use crate::phantom::dicom::plant::{
    BIRTH, NAME, NUMBER, VR, dictionary, object, planted_file, uids,
};
use crate::phantom::dicom::{Roi, Tag, tags};
use crate::phantom::field::{Field, Lattice};
use crate::phantom::solid::{PlaneStack, Solid};

/// Attributes without which an object is another one: what they hold is no free text.
const NEEDED: [Tag; 6] = [
    tags::MODALITY,
    tags::ROWS,
    tags::COLUMNS,
    tags::BITS_ALLOCATED,
    tags::NUMBER_OF_FRAMES,
    tags::SPECIFIC_CHARACTER_SET,
];

/// The planted archive below `place`; gives the UIDs of its objects.
fn archive(place: &Path) -> BTreeSet<String> {
    let all = dictionary();
    let wanted = |tag: Tag, vr: VR| {
        let free = [
            VR::PN,
            VR::LO,
            VR::SH,
            VR::LT,
            VR::ST,
            VR::UT,
            VR::UC,
            VR::UR,
            VR::AE,
            VR::DA,
            VR::CS,
            VR::DT,
            VR::TM,
            VR::AS,
        ];
        free.contains(&vr) && !NEEDED.contains(&tag)
    };
    let folder = place.join("Zzyzx_0073194628/Quuxbert");
    fs::create_dir_all(&folder).unwrap();
    let mut originals = BTreeSet::new();
    for (name, bytes) in objects() {
        uids(&object(&bytes), &mut originals);
        fs::write(folder.join(name), planted_file(&bytes, &all, &wanted)).unwrap();
    }
    // A second patient of that name, whose structures keep their names: pages need an organ.
    let ball = |at, radius| Solid::ball(at, radius);
    let drawn = |number, name: &str, kind: &str, solid: &Solid| {
        Roi::new(number, name, kind).outlining(solid, &PlaneStack::axial(1.5, 0.0), 12)
    };
    let target = drawn(1, "PTV1", "PTV", &ball([0.3, 0.2, 0.1], 3.0));
    let organ = drawn(2, "Brainstem", "ORGAN", &ball([0.0, 6.0, 0.0], 2.5));
    let skin = drawn(3, "External", "EXTERNAL", &ball([0.0; 3], 11.0));
    let lattice = Lattice::around([0.0; 3], [12.0; 3], 2.0);
    let field = Field::gaussian([0.0; 3], 24.0, 4.0);
    let rois = vec![target, organ, skin];
    let mut course = Course::new("20073194628", rois, (&field, &lattice), &[(1, 15.0)]);
    for header in course.headers() {
        header.patient_name = NAME.into();
        header.birth_date = BIRTH.into();
    }
    for (name, bytes) in course.files() {
        uids(&object(&bytes), &mut originals);
        let names_stay = name == "structures.dcm";
        let bytes = if names_stay { bytes } else { planted_file(&bytes, &all, &wanted) };
        fs::write(folder.join(format!("second {name}")), bytes).unwrap();
    }
    fs::write(folder.join("Zzyzx broken.dcm"), &objects()[0].1[..700]).unwrap();
    fs::write(folder.join("0073194628.txt"), "Quuxbert").unwrap();
    originals
}

/// The bytes as they are, and what is packed in them.
pub(crate) fn unpacked(path: &Path) -> Vec<Vec<u8>> {
    let bytes = fs::read(path).unwrap();
    let mut all = Vec::new();
    if bytes.starts_with(b"PK") {
        let mut book = zip::ZipArchive::new(Cursor::new(bytes.clone())).unwrap();
        for i in 0..book.len() {
            let mut inner = Vec::new();
            book.by_index(i).unwrap().read_to_end(&mut inner).unwrap();
            all.push(inner);
        }
        assert!(all.len() >= 3, "a workbook and a document have several members");
    }
    // A part is a head and compressed content behind it.
    let magic = [0x28, 0xB5, 0x2F, 0xFD];
    if let Some(at) = bytes.windows(4).position(|w| w == magic)
        && path.parent().is_some_and(|p| p.ends_with("cases"))
    {
        let content = zstd::decode_all(&bytes[at..]).unwrap();
        assert!(content.len() > 1000, "{}", path.display());
        all.push(content);
    }
    all.push(bytes);
    all
}

#[test]
fn no_marker_gets_out_of_any_command() {
    let place = tempfile::tempdir().unwrap();
    let originals = archive(place.path());
    let searched = |what: &str, bytes: &[u8]| {
        assert_eq!(markers_in(bytes, &originals), Vec::<String>::new(), "{what}");
    };
    let said = |arguments: &[&str], codes: &[i32]| {
        let (code, out, err) = run(place.path(), arguments);
        assert!(codes.contains(&code), "{arguments:?}: {code} {err}");
        searched(&format!("{arguments:?}"), out.as_bytes());
        out
    };
    said(&["survey", "Zzyzx_0073194628", "--quiet"], &[0]);
    said(&["measure", "Zzyzx_0073194628", "--spreadsheet-csv", "semicolon", "--quiet"], &[0]);
    let plans = rows_of(&fs::read_to_string(place.path().join("study/tables/plans.csv")).unwrap());
    assert!(plans.iter().any(|p| p["measured"] == "true"), "{plans:?}");
    let case = plans.iter().find(|p| p["measured"] == "true").unwrap()["plan_id"].clone();
    said(&["review", "--organ", "Brainstem", "--quiet"], &[0]);
    said(&["paper", "--quiet"], &[0]);
    said(&["explain", &case, "--contact-sheet", "sheet.svg", "--quiet"], &[0]);
    said(&["explain", &case, "1", "Volume[cc]", "--page", "page.html", "--quiet"], &[0]);
    said(&["diff", "study", "study", "--quiet"], &[0]);
    // Parquet is compressed: each table is asked for as a whole.
    let mut tables = BTreeMap::new();
    for entry in fs::read_dir(place.path().join("study/tables")).unwrap() {
        let path = entry.unwrap().path();
        if path.extension().is_some_and(|e| e == "parquet") {
            let name = path.file_stem().unwrap().to_string_lossy().into_owned();
            let sql = place.path().join("all.sql");
            fs::write(&sql, format!("-- question: all\nSELECT * FROM {name}\n")).unwrap();
            let out = said(&["ask", "all.sql", "--format", "csv", "--quiet"], &[0, 1]);
            // A head's surface is a face.
            assert!(name != "pictures" || !out.contains("external"), "{out}");
            tables.insert(name, out.lines().count());
        }
    }
    assert!(tables.len() == 26 && tables["traces"] > 1 && tables["pictures"] > 3, "{tables:?}");
    let mut files = 0;
    for path in files_below(place.path()) {
        let name = path.strip_prefix(place.path()).unwrap().to_string_lossy().into_owned();
        if ["Zzyzx_0073194628", "study-key"].iter().any(|own| name.starts_with(own)) {
            continue;
        }
        files += 1;
        searched(&name, name.as_bytes());
        for bytes in unpacked(&path) {
            searched(&name, &bytes);
        }
    }
    assert!(files > 60, "{files}");
    // The search finds what is there, and the key knows the patient.
    let key = fs::read(place.path().join("study-key/patient_key.csv")).unwrap();
    assert!(String::from_utf8_lossy(&key).contains(NUMBER));
    assert!(!markers_in(&key, &originals).is_empty());
    // The withheld name is a finding, so that a person looks.
    let findings = fs::read_to_string(place.path().join("study/tables/findings.csv")).unwrap();
    for code in ["roi-name-withheld", "text-withheld"] {
        assert!(findings.contains(code), "{findings}");
    }
}
