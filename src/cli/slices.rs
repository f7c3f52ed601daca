//! Slices of CT or MR for the pictures of the committee's page, found in the archive by frame of
//! reference and place. The archive is looked through again, and only when a person asks for it.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::atomic::AtomicBool;

use super::fault::Fault;
use super::study_key::StudyKey;
use super::terminal::Terminal;
use tidydose_dicom::{self as dicom, Scan};
use tidydose_report::{Backdrop, ImagePlane};
use tidydose_rt::identity::{Identity, Token};
use tidydose_rt::{ImageSeries, StructureSetHeader};

/// The archive with the key of the study.
pub(super) struct SliceFinder {
    scan: Scan,
    identity: Identity,
    /// The file of each object.
    files: BTreeMap<Token, Token>,
}

impl SliceFinder {
    /// Looks through the archive; `kept` where the study has the clinic's own identifiers.
    ///
    /// # Errors
    /// When the key is not there, or the archive cannot be read.
    pub(super) fn open(study: &Path, archive: &[PathBuf], kept: bool) -> Result<Self, Fault> {
        let key = StudyKey::beside(study)?;
        if !kept && !key.exists() {
            let reason = "the key of the study is not there, so that nobody can tell which slices \
                          belong to which case";
            return Err(Fault::folder(key.folder(), reason));
        }
        let identity = if kept { Identity::kept() } else { key.identity()? };
        let scan = dicom::scan(archive, &identity, &|_| {}, &AtomicBool::new(false))?;
        let mut files = BTreeMap::new();
        for record in &scan.inventory.files {
            if let Some(object) = &record.object {
                files.entry(object.clone()).or_insert_with(|| record.file.clone());
            }
        }
        Ok(Self { scan, identity, files })
    }

    /// The slices for these pictures. Says how many there are, and why others have none.
    pub(super) fn backdrops(&self, planes: Vec<ImagePlane>, terminal: &Terminal) -> Vec<Backdrop> {
        let wanted = planes.len();
        let mut found = Vec::new();
        let mut reasons: BTreeMap<String, usize> = BTreeMap::new();
        for plane in planes {
            match self.backdrop(plane) {
                Ok(backdrop) => found.push(backdrop),
                Err(reason) => *reasons.entry(reason).or_default() += 1,
            }
        }
        let why: Vec<String> =
            reasons.into_iter().map(|(reason, n)| format!("{n}: {reason}")).collect();
        let without = if why.is_empty() { String::new() } else { format!("; {}", why.join("; ")) };
        terminal.say(&format!(
            "slices behind the outlines: {} of {wanted} pictures{without}. The page then shows \
             images of patients: keep it as such",
            found.len()
        ));
        found
    }

    /// # Errors
    /// Why there is none.
    fn backdrop(&self, plane: ImagePlane) -> Result<Backdrop, String> {
        let sets = &self.scan.inventory.structure_sets;
        let set = sets.iter().find(|s| s.origin.object.as_str() == plane.structure_set_id);
        let set = set.ok_or("its structure set is not in this archive")?;
        let [.., z] = plane.centre_mm;
        let mut nearest: Option<(f64, &Token)> = None;
        for series in self.scan.inventory.images.iter().filter(|s| is_of(s, set)) {
            let slice = series.places.as_ref().and_then(|p| p.nearest([0.0, 0.0, 1.0], z));
            if let Some(slice) = slice
                && nearest.is_none_or(|(off, _)| slice.off_mm < off)
            {
                nearest = Some((slice.off_mm, slice.object));
            }
        }
        let (off_mm, object) =
            nearest.ok_or("no axial slice of its frame of reference is there")?;
        let file = self.files.get(object).ok_or("the file of its slice is not there")?;
        let place = self.scan.paths.get(file).ok_or("the file of its slice is not there")?;
        let read = dicom::read_slice_as(place, &self.identity, file);
        let slice = read.map_err(|e| e.message().to_owned())?.value;
        Ok(Backdrop { plane, off_mm, slice })
    }
}

/// Whether images are those of a structure set: of one patient, in one frame of reference.
fn is_of(series: &ImageSeries, set: &StructureSetHeader) -> bool {
    series.frame.is_some() && series.frame == set.frame && series.patient == set.origin.patient
}
