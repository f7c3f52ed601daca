//! RT Structure Set (PS3.3 A.19, C.8.8.5, C.8.8.6, C.8.8.8) to [`rt::StructureSet`]: the three
//! sequences that speak of a structure are joined by ROI Number, never by position. A structure
//! with contours that cannot be trusted is refused, the others stand. Must not know volumes or
//! standard names.

use std::collections::BTreeMap;

use dicom_dictionary_std::tags;

use super::attribute::Attributes;
use super::contour::{Contours, contours};
use super::error::Error;
use super::object::Object;
use super::quirks::withheld_name::{Identifiers, WITHHELD};
use tidydose_geometry::units::{CubicCentimetre, Day, Millimetre};
use tidydose_rt::finding::Code;
use tidydose_rt::identity::{Kind, Token};
use tidydose_rt::plane_spacing::from_other_structures;
use tidydose_rt::{PlaneSpacing, Roi, RoiHeader, SpacingSource, StructureSet, StructureSetHeader};

/// A structure set and what it says about the images it was drawn on.
pub(super) struct ParsedStructureSet {
    /// With contours.
    pub set: StructureSet,
    /// Structure Set Date as a day count.
    pub day: Option<Day>,
    /// Series it refers to.
    pub series: Vec<Token>,
    /// For each ROI Number an image that its contours refer to.
    pub images: BTreeMap<i64, Token>,
}

impl ParsedStructureSet {
    /// Everything but the contours.
    pub(super) fn header(&self) -> StructureSetHeader {
        StructureSetHeader {
            origin: self.set.origin.clone(),
            frame: self.set.frame.clone(),
            day: self.day,
            imaged: None,
            rois: self.set.rois.iter().map(|roi| roi.header.clone()).collect(),
            extents: self.set.extents(),
        }
    }
}

/// Reads the structure set.
///
/// # Errors
/// When it has no SOP Instance UID, no structure, or an ROI Number that cannot be read.
pub(super) fn structure_set(object: &Object<'_>) -> Result<ParsedStructureSet, Error> {
    let root = object.root();
    let origin = object.origin()?;
    let listed = keyed(&root, tags::STRUCTURE_SET_ROI_SEQUENCE, tags::ROI_NUMBER)?;
    if listed.is_empty() {
        let tag = tags::STRUCTURE_SET_ROI_SEQUENCE;
        return Err(super::attribute::missing(tag, "at least one structure"));
    }
    let drawn = keyed(&root, tags::ROI_CONTOUR_SEQUENCE, tags::REFERENCED_ROI_NUMBER)?;
    let observed = keyed(&root, tags::RTROI_OBSERVATIONS_SEQUENCE, tags::REFERENCED_ROI_NUMBER)?;
    note_unmatched(&root, &listed, &drawn, "contours");
    note_unmatched(&root, &listed, &observed, "observations");
    let frame = frame(&root, &listed);
    let reader = StructureSetReader { object, frame, identifiers: Identifiers::of(object) };
    let mut parsed = ParsedStructureSet {
        set: StructureSet { origin, frame: reader.token(), rois: Vec::new() },
        day: root.date(tags::STRUCTURE_SET_DATE).and_then(|date| object.day(date)),
        series: series(object, &root),
        images: BTreeMap::new(),
    };
    for (number, items) in &listed {
        let Some(listed) = reader.only_one(*number, items)? else { continue };
        let drawn = drawn.get(number).map_or(&[][..], Vec::as_slice);
        let observed = observed.get(number).map_or(&[][..], Vec::as_slice);
        let (roi, image) = reader.roi(*number, &listed, drawn, observed);
        parsed.set.rois.push(roi);
        if let Some(uid) = image {
            parsed.images.insert(*number, object.token(Kind::Object, uid));
        }
    }
    note_repeated_names(&root, &parsed.set.rois);
    from_other_structures(&mut parsed.set.rois);
    Ok(parsed)
}

/// The items of a sequence by the number they carry.
fn keyed<'a>(
    root: &Attributes<'a>,
    sequence: dicom_core::Tag,
    number: dicom_core::Tag,
) -> Result<BTreeMap<i64, Vec<Attributes<'a>>>, Error> {
    let mut map: BTreeMap<i64, Vec<Attributes<'a>>> = BTreeMap::new();
    for item in root.items(sequence) {
        map.entry(item.required_integer(number)?).or_default().push(item);
    }
    Ok(map)
}

type Items<'a> = BTreeMap<i64, Vec<Attributes<'a>>>;

fn note_unmatched(root: &Attributes<'_>, listed: &Items<'_>, other: &Items<'_>, what: &str) {
    for number in other.keys().filter(|number| !listed.contains_key(number)) {
        let message = format!("{what} refer to ROI number {number}, which is not listed");
        root.note_roi(Code::RoiUnmatched, *number, message);
    }
}

fn note_repeated_names(root: &Attributes<'_>, rois: &[Roi]) {
    let mut first: BTreeMap<String, i64> = BTreeMap::new();
    for roi in rois.iter().filter(|roi| !roi.header.name.is_empty()) {
        let name = roi.header.name.to_lowercase();
        if name == WITHHELD {
            continue;
        }
        let number = roi.header.number;
        match first.get(&name) {
            Some(other) => {
                let message = format!("ROI numbers {other} and {number} have the same name");
                root.note_roi(Code::RoiNameRepeated, number, message);
            }
            None => {
                first.insert(name, number);
            }
        }
    }
}

/// Frame of reference: the first one listed, else that of the first structure, else the module's.
fn frame<'a>(root: &Attributes<'a>, listed: &Items<'a>) -> Option<&'a str> {
    let tag = tags::FRAME_OF_REFERENCE_UID;
    let frames: Vec<_> = root
        .items(tags::REFERENCED_FRAME_OF_REFERENCE_SEQUENCE)
        .filter_map(|item| item.uid(tag))
        .collect();
    let own = listed
        .values()
        .flatten()
        .find_map(|item| item.uid(tags::REFERENCED_FRAME_OF_REFERENCE_UID));
    frames.first().copied().or(own).or_else(|| root.uid(tag))
}

/// Series UIDs below the Referenced Frame of Reference Sequence.
fn series(object: &Object<'_>, root: &Attributes<'_>) -> Vec<Token> {
    let frames = root.items(tags::REFERENCED_FRAME_OF_REFERENCE_SEQUENCE);
    let studies = frames.flat_map(|f| f.items(tags::RT_REFERENCED_STUDY_SEQUENCE));
    let series = studies.flat_map(|s| s.items(tags::RT_REFERENCED_SERIES_SEQUENCE));
    let uids = series.filter_map(|s| s.uid(tags::SERIES_INSTANCE_UID));
    uids.map(|uid| object.token(Kind::Series, uid)).collect()
}

struct StructureSetReader<'a> {
    object: &'a Object<'a>,
    frame: Option<&'a str>,
    identifiers: Identifiers,
}

impl<'a> StructureSetReader<'a> {
    fn token(&self) -> Option<Token> {
        self.frame.map(|uid| self.object.token(Kind::Frame, uid))
    }

    /// The one item of a structure; a number listed twice leaves open which contours belong to
    /// which, and the structure set is refused.
    fn only_one<'b>(
        &self,
        number: i64,
        items: &[Attributes<'b>],
    ) -> Result<Option<Attributes<'b>>, Error> {
        match items {
            [] => Ok(None),
            [item] => Ok(Some(*item)),
            more => {
                let times = more.len();
                let message =
                    format!("ROI number {number} is listed {times} times; accepted is once");
                Err(Error::new(Code::AttributeInvalid, message).about(tags::ROI_NUMBER))
            }
        }
    }

    fn roi(
        &self,
        number: i64,
        listed: &Attributes<'a>,
        drawn: &[Attributes<'a>],
        observed: &[Attributes<'a>],
    ) -> (Roi, Option<&'a str>) {
        let found = contours(number, drawn);
        if found.contours.is_empty() && found.refused.is_none() {
            let message = "the structure has no contours";
            listed.note_roi(Code::RoiWithoutContours, number, message);
        }
        let header = self.header(number, listed, observed, &found);
        let Contours { contours, refused, image, .. } = found;
        (Roi { header, contours, refused }, image)
    }

    fn header(
        &self,
        number: i64,
        listed: &Attributes<'a>,
        observed: &[Attributes<'a>],
        found: &Contours<'a>,
    ) -> RoiHeader {
        let frame = listed.uid(tags::REFERENCED_FRAME_OF_REFERENCE_UID).or(self.frame);
        let mut types = observed
            .iter()
            .filter_map(|o| self.identifiers.open_code(o, tags::RTROI_INTERPRETED_TYPE));
        let volume = listed.optional_number(tags::ROI_VOLUME).filter(|v| *v > 0.0);
        RoiHeader {
            number,
            name: self.name(number, listed),
            interpreted_type: types.next(),
            generation_algorithm: self
                .identifiers
                .open_code(listed, tags::ROI_GENERATION_ALGORITHM),
            frame: frame.map(|uid| self.object.token(Kind::Frame, uid)),
            stated_volume: volume.map(CubicCentimetre::cc),
            plane_spacing: found.plane_spacing.map(|mm| PlaneSpacing {
                distance: Millimetre::mm(mm),
                source: SpacingSource::Stated,
            }),
            image_planes: None,
            planes_complete: found.planes_complete,
            contours: found.contours.len(),
        }
    }

    fn name(&self, number: i64, listed: &Attributes<'a>) -> String {
        let name = listed.text(tags::ROI_NAME).unwrap_or_default();
        match self.identifiers.found_in(name) {
            None => name.to_owned(),
            Some(what) => {
                let message = format!("the structure name holds {what}");
                listed.note_roi(Code::RoiNameWithheld, number, message);
                WITHHELD.to_owned()
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use dicom_core::VR;

    use super::super::encoding::Encoding;
    use super::super::fixtures::{self, Element, contour, set, squares, text};
    use super::*;
    use tidydose_rt::ContourType;
    use tidydose_rt::finding::Finding;
    use tidydose_rt::identity::Identity;

    fn read_in(
        parts: &[Element],
        encoding: Encoding,
        open: bool,
    ) -> Result<(StructureSet, Vec<Finding>), Error> {
        let bytes = fixtures::file(parts, encoding, open);
        let read = fixtures::read_as(&Identity::keyed([3; 32]), bytes, structure_set)?;
        Ok((read.value.set, read.findings))
    }

    fn read(parts: &[Element]) -> (StructureSet, Vec<Finding>) {
        read_in(parts, Encoding::EXPLICIT, false).unwrap()
    }

    fn has(findings: &[Finding], code: Code) -> bool {
        findings.iter().any(|finding| finding.code == code)
    }

    #[test]
    fn every_encoding_gives_the_same_structures() {
        let parts = fixtures::structure_set(squares());
        let (first, findings) = read(&parts);
        assert_eq!(findings, []);
        let roi = &first.rois[0];
        assert_eq!((roi.header.number, roi.header.name.as_str()), (7, "GTV 1"));
        assert_eq!(roi.header.interpreted_type.as_deref(), Some("GTV"));
        assert_eq!(roi.contours.len(), 3);
        assert_eq!(roi.contours[2].points[2], [10.0, 10.0, 4.0]);
        assert_eq!(roi.contours[2].kind, ContourType::ClosedPlanar);
        for encoding in [Encoding::IMPLICIT, Encoding::EXPLICIT_BIG] {
            for open in [false, true] {
                let (other, _) = read_in(&parts, encoding, open).unwrap();
                assert_eq!(other.rois, first.rois);
            }
        }
    }

    /// 3,329 points and more do not fit a 16-bit length and come as UN (PS3.5 6.2.2).
    #[test]
    fn long_contours_in_unknown_representation_are_numbers() {
        let points: Vec<_> = (0..9_000).map(|i| [f64::from(i), 0.5, -1.25]).collect();
        let parts = fixtures::structure_set(vec![contour(&points)]);
        for encoding in [Encoding::EXPLICIT, Encoding::EXPLICIT_BIG] {
            let (set, findings) = read_in(&parts, encoding, false).unwrap();
            assert_eq!(set.rois[0].contours[0].points, points);
            assert!(has(&findings, Code::UnknownRepresentation));
        }
    }

    #[test]
    fn contours_whose_points_do_not_count_refuse_their_structure() {
        let mut wrong = contour(&[[0.0; 3], [1.0, 0.0, 0.0], [0.0, 1.0, 0.0]]);
        set(&mut wrong, text(tags::NUMBER_OF_CONTOUR_POINTS, VR::IS, "4"));
        let mut odd = contour(&[[0.0; 3]]);
        set(&mut odd, text(tags::CONTOUR_DATA, VR::DS, "1\\2\\3\\4"));
        let mut nan = contour(&[[0.0; 3]]);
        set(&mut nan, text(tags::CONTOUR_DATA, VR::DS, "1\\2\\nan"));
        for bad in [wrong, odd, nan] {
            let (read, findings) = read(&fixtures::structure_set([squares(), vec![bad]].concat()));
            assert!(read.rois[0].refused.as_deref().unwrap().starts_with("contour 4"));
            assert_eq!(read.rois[0].contours.len(), 3);
            assert!(has(&findings, Code::ContourRefused));
        }
    }

    #[test]
    fn the_three_sequences_are_joined_by_number() {
        let mut parts = fixtures::structure_set(squares());
        let roi = |number: &str, name: &str| {
            vec![text(tags::ROI_NUMBER, VR::IS, number), text(tags::ROI_NAME, VR::LO, name)]
        };
        let list = vec![roi("9", "Lens L"), roi("0", "gtv 1"), roi("7", "GTV 1")];
        set(&mut parts, Element::Items(tags::STRUCTURE_SET_ROI_SEQUENCE, list));
        let other = vec![text(tags::REFERENCED_ROI_NUMBER, VR::IS, "12")];
        set(&mut parts, Element::Items(tags::RTROI_OBSERVATIONS_SEQUENCE, vec![other]));
        let (read, findings) = read(&parts);
        let numbers: Vec<_> =
            read.rois.iter().map(|r| (r.header.number, r.contours.len())).collect();
        assert_eq!(numbers, [(0, 0), (7, 3), (9, 0)]);
        assert!(has(&findings, Code::RoiUnmatched));
        assert!(has(&findings, Code::RoiWithoutContours));
        assert!(has(&findings, Code::RoiNameRepeated));
    }

    #[test]
    fn a_number_listed_twice_is_refused() {
        let mut parts = fixtures::structure_set(squares());
        let roi = vec![text(tags::ROI_NUMBER, VR::IS, "7")];
        set(&mut parts, Element::Items(tags::STRUCTURE_SET_ROI_SEQUENCE, vec![roi.clone(), roi]));
        let error = read_in(&parts, Encoding::EXPLICIT, false).unwrap_err();
        assert_eq!(error.code(), Code::AttributeInvalid);
        assert_eq!(error.attribute().as_deref(), Some("ROINumber (3006,0022)"));
    }

    #[test]
    fn names_of_patients_are_withheld() {
        let mut parts = fixtures::structure_set(squares());
        let roi =
            vec![text(tags::ROI_NUMBER, VR::IS, "7"), text(tags::ROI_NAME, VR::LO, "GTV Person")];
        set(&mut parts, Element::Items(tags::STRUCTURE_SET_ROI_SEQUENCE, vec![roi]));
        let (read, findings) = read(&parts);
        assert_eq!(read.rois[0].header.name, WITHHELD);
        assert!(has(&findings, Code::RoiNameWithheld));
        assert!(findings.iter().all(|f| !f.message.to_lowercase().contains("person")));
    }

    #[test]
    fn source_pixel_planes_state_spacing_and_true_gaps() {
        let mut parts = fixtures::structure_set(Vec::new());
        let planes = vec![text(tags::SPACING_BETWEEN_SLICES, VR::DS, "1.5")];
        let item = vec![
            Element::Items(tags::SOURCE_PIXEL_PLANES_CHARACTERISTICS_SEQUENCE, vec![planes]),
            Element::Items(tags::CONTOUR_SEQUENCE, squares()),
            text(tags::REFERENCED_ROI_NUMBER, VR::IS, "7"),
        ];
        set(&mut parts, Element::Items(tags::ROI_CONTOUR_SEQUENCE, vec![item]));
        let (read, _) = read(&parts);
        let spacing = read.rois[0].header.plane_spacing.unwrap();
        assert_eq!((spacing.distance.value(), spacing.source), (1.5, SpacingSource::Stated));
        assert!(read.rois[0].header.planes_complete);
    }
}
