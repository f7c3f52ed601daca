//! De-identified copies as a person gets them: a name, a number and a date planted wherever the
//! dictionary has room are searched for in every byte that is written; references still meet; the
//! copies measure as the originals do; pydicom opens them.

#![allow(clippy::unwrap_used)] // helpers of tests fail as tests do

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::Path;

use assert_cmd::Command;
use tidydose_dicom::FileLocation;
use tidydose_dicom::deident::{self, AttributeAction, Choices};
use tidydose_rt::identity::{Identity, Token};

use crate::archive::{Course, files_below};
use crate::measured::{Row, cohort, rows_of};
use crate::phantom::dicom::plant::{
    BIRTH, NAME, NUMBER, VR, dictionary, file_of, object, planted_file, text_element, uids,
    with_texts,
};
use crate::phantom::dicom::{Record, Registration, Roi, Tag, tags};
use crate::phantom::field::{Field, Lattice};
use crate::phantom::solid::{PlaneStack, Solid};

pub(crate) fn run(place: &Path, arguments: &[&str]) -> (i32, String, String) {
    let output = Command::cargo_bin("tidydose")
        .unwrap()
        .current_dir(place)
        .args(arguments)
        .output()
        .unwrap();
    let text = |bytes| String::from_utf8(bytes).unwrap();
    (output.status.code().unwrap(), text(output.stdout), text(output.stderr))
}

/// One object of each class that is copied, linked, of one patient.
pub(crate) fn objects() -> Vec<(&'static str, Vec<u8>)> {
    let solid = Solid::ball([0.3, 0.2, 0.1], 3.0);
    let roi = Roi::new(1, "PTV1", "PTV").outlining(&solid, &PlaneStack::axial(1.5, 0.0), 12);
    let lattice = Lattice::around([0.0; 3], [7.0; 3], 2.0);
    let field = Field::gaussian([0.0; 3], 24.0, 4.0);
    let mut course = Course::new(NUMBER, vec![roi], (&field, &lattice), &[(1, 15.0)]);
    for header in course.headers() {
        header.patient_name = NAME.into();
        header.birth_date = BIRTH.into();
    }
    let mut header = course.set.header.clone();
    header.instance_uid = "1.2.731.9.1".into();
    let record = Record::fraction(header.clone(), &course.plan.header.instance_uid, 1, &[1]);
    header.instance_uid = "1.2.731.9.2".into();
    let matrix = std::array::from_fn(|i| if i % 5 == 0 { 1.0 } else { 0.0 });
    let registration = Registration::rigid(header, "1.2.731.9.3", matrix);
    let mut files = course.files().to_vec();
    files.push(("record.dcm", record.bytes().unwrap()));
    files.push(("registration.dcm", registration.bytes().unwrap()));
    files
}

/// Every marker that stands in bytes: as UTF-8, as UTF-16 of both orders, whatever the case.
pub(crate) fn markers_in(bytes: &[u8], further: &BTreeSet<String>) -> Vec<String> {
    let lower = bytes.to_ascii_lowercase();
    let fixed = ["zzyzx", "quuxbert", "73194628", "073194.628", BIRTH, "1931-11-11", "11.11.1931"];
    let all = fixed.iter().map(|s| (*s).to_owned()).chain(further.iter().cloned());
    all.filter(|marker| {
        let wide = |order: fn(u16) -> [u8; 2]| marker.encode_utf16().flat_map(order).collect();
        let forms: [Vec<u8>; 3] =
            [marker.clone().into_bytes(), wide(u16::to_le_bytes), wide(u16::to_be_bytes)];
        forms.iter().any(|form| lower.windows(form.len()).any(|window| window == form))
    })
    .collect()
}

#[test]
fn no_marker_survives_in_a_copy_of_any_class() {
    let place = tempfile::tempdir().unwrap();
    let all = dictionary();
    assert!(all.len() > 4000, "{}", all.len());
    let identity = Identity::keyed([7; 32]);
    // The size of the grid is needed to cut it; everything else gets a marker.
    let grid = [tags::ROWS, tags::COLUMNS, tags::BITS_ALLOCATED, tags::NUMBER_OF_FRAMES];
    for (name, bytes) in objects() {
        let path = place.path().join(name);
        fs::write(&path, planted_file(&bytes, &all, &|tag, _| !grid.contains(&tag))).unwrap();
        let mut originals = BTreeSet::new();
        uids(&object(&bytes), &mut originals);
        assert!(originals.len() >= 4, "{name}");
        let (place, file) = (FileLocation::file(&path), Token::new("F"));
        let people = deident::people(&place, &identity, &file).unwrap();
        for choices in [
            Choices::default(),
            Choices {
                keep_labels: true,
                keep_device: true,
                keep_characteristics: true,
                keep_institution: true,
                drop_dates: false,
            },
        ] {
            let copy = deident::deidentify(
                &place,
                (&file, &identity),
                (&people, &BTreeMap::new()),
                choices,
            )
            .unwrap();
            assert_eq!(markers_in(&copy.bytes, &originals), Vec::<String>::new(), "{name}");
            let again = deident::deidentify(
                &place,
                (&file, &identity),
                (&people, &BTreeMap::new()),
                choices,
            )
            .unwrap();
            assert_eq!(copy, again);
        }
        assert!(!markers_in(&fs::read(&path).unwrap(), &originals).is_empty(), "the search finds");
    }
}

/// A copy of a file with some attributes set to texts.
fn copy_with(
    bytes: &[u8],
    texts: &[(Tag, VR, &str)],
    choices: Choices,
) -> Result<deident::Copy, tidydose_dicom::Error> {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("file");
    let identity = Identity::keyed([7; 32]);
    fs::write(&path, with_texts(bytes, texts)).unwrap();
    let (place, file) = (FileLocation::file(&path), Token::new("F"));
    let people = deident::people(&place, &identity, &file).unwrap();
    deident::deidentify(&place, (&file, &identity), (&people, &BTreeMap::new()), choices)
}

/// Retain Patient Characteristics and Retain Institution Identity of PS3.15 (E.3.5 and E.3.8, from
/// memory; codes of CID 7050, from memory); without them sex is empty and the others are gone.
#[test]
fn what_is_known_of_patient_and_institution_stays_on_request() {
    let dose = objects().into_iter().find(|(name, _)| name.starts_with("dose")).unwrap().1;
    let texts = [
        (tags::PATIENT_SEX, VR::CS, "F"),
        (tags::PATIENT_AGE, VR::AS, "093Y"),
        (tags::PATIENT_WEIGHT, VR::DS, "71.5"),
        (tags::PATIENT_SIZE, VR::DS, NUMBER),
        (tags::INSTITUTION_NAME, VR::LO, "North Clinic"),
        (tags::INSTITUTIONAL_DEPARTMENT_NAME, VR::LO, "Ward of Quuxbert"),
    ];
    let told = |choices| {
        let copy = object(&copy_with(&dose, &texts, choices).unwrap().bytes);
        let text = |tag| Some(copy.get(tag)?.to_str().ok()?.trim().to_owned());
        let codes = copy.get(tags::DEIDENTIFICATION_METHOD_CODE_SEQUENCE).unwrap();
        let codes = codes.items().unwrap().iter();
        let codes = codes.map(|c| c.get(tags::CODE_VALUE).unwrap().to_str().unwrap().into_owned());
        (texts.map(|(tag, ..)| text(tag)), codes.collect::<Vec<_>>())
    };
    let some = |text: &str| Some(text.to_owned());
    let (kept, codes) = told(Choices::default());
    assert_eq!(kept, [some(""), None, None, None, None, None]);
    assert_eq!(codes, ["113100", "113105", "113107"]);
    let (kept, codes) = told(Choices { keep_characteristics: true, ..Choices::default() });
    assert_eq!(kept, [some("F"), some("090Y"), some("71.5"), None, None, None]);
    assert_eq!(codes, ["113100", "113105", "113107", "113108"]);
    let (kept, codes) = told(Choices { keep_institution: true, ..Choices::default() });
    assert_eq!(kept, [some(""), None, None, None, some("North Clinic"), None]);
    assert_eq!(codes, ["113100", "113105", "113107", "113112"]);
}

/// A decimal that is a number of the patient is left empty; a whole number that ties the object
/// together cannot be, and there is no copy.
#[test]
fn a_number_of_the_patient_does_not_pass_as_a_number() {
    let set = objects().into_iter().find(|(name, _)| name.starts_with("struct")).unwrap().1;
    let mut files = vec![set.clone()];
    for (from, vr) in [("73194628", VR::IS), ("0073194628.0", VR::DS)] {
        let mut object = object(&set);
        let tag = if vr == VR::IS { tags::ROI_NUMBER } else { tags::ROI_VOLUME };
        let mut rois = object.take_element(tags::STRUCTURE_SET_ROI_SEQUENCE).unwrap();
        for item in rois.items_mut().unwrap() {
            item.put(text_element(tag, vr, from));
        }
        object.put(rois);
        files.push(file_of(object));
    }
    let [clean, tied, decimal] = &files[..] else { panic!("{}", files.len()) };
    let withheld = |bytes: &[u8]| {
        let copy = copy_with(bytes, &[], Choices::default())?;
        assert_eq!(markers_in(&copy.bytes, &BTreeSet::new()), Vec::<String>::new());
        let of = |((_, treatment), count): (&(_, AttributeAction), &usize)| {
            (*treatment == AttributeAction::Withheld).then_some(*count)
        };
        Ok::<usize, tidydose_dicom::Error>(copy.done.iter().filter_map(of).sum())
    };
    assert_eq!(withheld(clean).unwrap(), 0);
    assert_eq!(withheld(decimal).unwrap(), 1);
    let refused = withheld(tied).unwrap_err();
    assert_eq!(refused.code(), tidydose_rt::finding::Code::AttributeInvalid);
    assert!(!refused.message().contains("73194628"), "{}", refused.message());
}

#[test]
fn no_marker_survives_in_anything_the_command_writes_or_says() {
    let place = tempfile::tempdir().unwrap();
    let all = dictionary();
    let texts = |tag: Tag, vr: VR| {
        let free = [VR::PN, VR::LO, VR::SH, VR::LT, VR::ST, VR::UT, VR::UC, VR::UR, VR::AE, VR::DA];
        (free.contains(&vr) || tag == tags::OTHER_PATIENT_I_DS_SEQUENCE) && tag != tags::MODALITY
    };
    let folder = place.path().join("Zzyzx_0073194628/Quuxbert");
    fs::create_dir_all(&folder).unwrap();
    let mut originals = BTreeSet::new();
    for (name, bytes) in objects() {
        uids(&object(&bytes), &mut originals);
        fs::write(folder.join(name), planted_file(&bytes, &all, &texts)).unwrap();
    }
    fs::write(folder.join("broken.dcm"), &objects()[0].1[..700]).unwrap();
    let image = crate::phantom::dicom::CtImage::new(
        crate::phantom::dicom::Header::new(NUMBER, "image"),
        0.0,
        1.0,
    );
    fs::write(folder.join("Zzyzx.dcm"), image.bytes().unwrap()).unwrap();
    let (code, out, err) =
        run(place.path(), &["anonymise", "Zzyzx_0073194628", "copies", "--quiet"]);
    assert_eq!(code, 0, "{out}{err}");
    assert_eq!(
        err.trim_end().lines().last().unwrap(),
        "left out: 1 of 7 files. Why, and what to do: copies/anonymised.csv (status left_out)",
        "one file is broken"
    );
    let again = ["anonymise", "Zzyzx_0073194628", "again", "--quiet", "--fail-on", "left-out"];
    assert_eq!(run(place.path(), &again).0, 1);
    let table = fs::read_to_string(place.path().join("copies/anonymised.csv")).unwrap();
    let rows = rows_of(&table);
    let with = |status: &str| {
        let of = rows.iter().filter(|r| r["status"] == status).map(|r| &r["file_id"]);
        of.collect::<BTreeSet<_>>().len()
    };
    assert_eq!([with("copied"), with("not_copied"), with("left_out")], [5, 1, 1], "{table}");
    let withheld = |r: &Row| r["attributes"] == "structure_names" && r["treatment"] == "withheld";
    assert!(rows.iter().any(withheld), "{table}");
    assert_eq!(markers_in(out.as_bytes(), &originals), Vec::<String>::new(), "{out}");
    for path in files_below(&place.path().join("copies")) {
        let name = path.strip_prefix(place.path()).unwrap().to_string_lossy().into_owned();
        assert_eq!(markers_in(name.as_bytes(), &originals), Vec::<String>::new(), "{name}");
        let found = markers_in(&fs::read(&path).unwrap(), &originals);
        assert_eq!(found, Vec::<String>::new(), "{name}");
    }
    let secret = fs::read_to_string(place.path().join("study-key/patient_key.csv")).unwrap();
    assert!(secret.contains(NUMBER), "the key folder knows: {secret}");
}

/// Metrics without the columns that hold pseudonyms, in an order of their own.
fn values(study: &Path) -> Vec<Row> {
    let tokens = ["patient_id", "plan_id", "structure_id", "case_id", "lesion_id"];
    let mut rows = rows_of(&fs::read_to_string(study.join("tables/metrics.csv")).unwrap());
    for row in &mut rows {
        // A reason may list objects, by pseudonym and in their order.
        let token = |w: &str| w.len() == 13 && w.starts_with(['O', 'P', 'R', 'F']);
        let words = row["reason"].split([' ', ';', ':']).filter(|w| !w.is_empty() && !token(w));
        let mut words: Vec<_> = words.map(str::to_owned).collect();
        words.sort();
        row.insert("reason".into(), words.join(" "));
        row.retain(|column, _| !tokens.contains(&column.as_str()));
    }
    rows.sort();
    rows
}

fn bytes_below(folder: &Path) -> BTreeMap<String, Vec<u8>> {
    let files = files_below(folder);
    let named = files.into_iter().map(|path| {
        let name = path.strip_prefix(folder).unwrap().to_string_lossy().into_owned();
        (name, fs::read(&path).unwrap())
    });
    named.collect()
}

/// Copies four patients of the cohort to `archive`.
pub(crate) fn copied_patients(place: &Path) {
    for patient in ["cobalt-unit/LK-01", "cobalt-unit/LK-19", "gantry/LK-15", "robot-arm/LK-04_A"] {
        for path in files_below(&cohort().join(patient)) {
            let to = place.join("archive").join(path.strip_prefix(cohort()).unwrap());
            fs::create_dir_all(to.parent().unwrap()).unwrap();
            fs::copy(path, to).unwrap();
        }
    }
}

#[test]
fn copies_measure_as_the_originals_and_are_the_same_again() {
    let place = tempfile::tempdir().unwrap();
    let folder = |name: &str| place.path().join(name);
    copied_patients(place.path());
    let at = place.path();
    for arguments in [
        &["anonymise", "archive", "copies"][..],
        &["anonymise", "archive", "again"],
        &["measure", "archive", "--study", "before", "--metric-list", "basic"],
        &["measure", "copies", "--study", "after", "--metric-list", "basic"],
    ] {
        let (code, out, err) = run(at, arguments);
        assert_eq!(code, 0, "{arguments:?}: {out}{err}");
    }
    assert_eq!(bytes_below(&folder("copies")), bytes_below(&folder("again")));
    let (before, after) = (values(&folder("before")), values(&folder("after")));
    assert!(before.len() > 100, "{}", before.len());
    assert_eq!(before.len(), after.len());
    for (a, b) in before.iter().zip(&after) {
        assert_eq!(a, b);
    }
}

#[test]
fn copies_go_to_a_folder_of_their_own() {
    let place = tempfile::tempdir().unwrap();
    let at = place.path();
    fs::create_dir_all(at.join("archive/inner")).unwrap();
    fs::create_dir(at.join("full")).unwrap();
    fs::write(at.join("full/letter.txt"), "dear").unwrap();
    for (arguments, expected) in [
        (&["archive", "archive"][..], "the archive"),
        (&["archive", "archive/inner/new"], "the archive"),
        (&["archive", "full"], "not empty"),
        (&["archive", "full/letter.txt"], "is a file"),
        (&["nowhere", "new"], "nowhere"),
        (&["archive", "new", "--study", "archive/s"], "apart"),
        (&["archive", "new", "--study", "new/s"], "apart"),
    ] {
        let (code, out, err) = run(at, &[&["anonymise"], arguments].concat());
        assert_eq!((code, out.as_str()), (2, ""), "{arguments:?}");
        assert!(err.contains(expected), "{arguments:?}: {err}");
    }
    assert!(!at.join("new").exists() && !at.join("study-key").exists());
}
