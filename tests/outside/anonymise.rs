//! De-identified copies as pydicom opens them.

#![allow(clippy::unwrap_used)] // helpers of tests fail as tests do

use std::path::Path;

use super::reference::python;
use crate::anonymise::{copied_patients, run};

/// Opens all copies and follows their references.
const SCRIPT: &str = "
import sys, pathlib, pydicom
files = {p: pydicom.dcmread(p) for p in pathlib.Path(sys.argv[1]).rglob('*.dcm')}
known = {d.SOPInstanceUID for d in files.values()}
links = 0
for p, d in files.items():
    assert d.file_meta.MediaStorageSOPInstanceUID == d.SOPInstanceUID
    assert d.PatientIdentityRemoved == 'YES' and d.LongitudinalTemporalInformationModified == 'MODIFIED'
    codes = {c.CodeValue for c in d.DeidentificationMethodCodeSequence}
    assert codes == {'113100', '113105', '113107'}, codes
    assert d.PatientID == p.parent.name and not d.PatientName and not d.PatientBirthDate
    for e in d.iterall():
        assert not e.tag.is_private
        e.value
    if d.Modality == 'RTDOSE':
        assert d.pixel_array.size
        assert d.ReferencedRTPlanSequence[0].ReferencedSOPInstanceUID in known
        links += 1
    if d.Modality == 'RTPLAN':
        for r in d.get('ReferencedStructureSetSequence', []):
            assert r.ReferencedSOPInstanceUID in known
            links += 1
print(len(files), links)
";

fn opened_by_pydicom(copies: &Path) {
    let output = python().args(["-c", SCRIPT]).arg(copies).output().unwrap();
    let (out, err) =
        (String::from_utf8_lossy(&output.stdout), String::from_utf8_lossy(&output.stderr));
    let counts: Vec<usize> = out.split_whitespace().filter_map(|n| n.parse().ok()).collect();
    assert!(matches!(counts[..], [files, links] if files >= 9 && links >= 6), "{out}{err}");
}

#[test]
fn pydicom_opens_every_copy_and_follows_its_references() {
    let place = tempfile::tempdir().unwrap();
    copied_patients(place.path());
    let (code, out, err) = run(place.path(), &["anonymise", "archive", "copies"]);
    assert_eq!(code, 0, "{out}{err}");
    opened_by_pydicom(&place.path().join("copies"));
}
