//! CT and MR slices, of which only the place matters: they are gathered into series with the
//! distance between slices along their normal, never from Slice Thickness, slice numbers or file
//! names. Must not know structures.

use std::cell::RefCell;
use std::collections::HashMap;

use chrono::NaiveDate;
use dicom_core::Tag;
use dicom_dictionary_std::tags;
use dicom_object::InMemDicomObject;
use rayon::prelude::*;

use super::attribute::{Attributes, date, days};
use super::header::Header;
use super::number::{PADDING, decimal};
use super::remark::Remarks;
use tidydose_geometry::point::{Point, cross, dot, unit};
use tidydose_geometry::units::Millimetre;
use tidydose_rt::identity::{Identity, Kind, Recent, Token};
use tidydose_rt::{ImagePlanes, ImageSeries, SlicePlaces};

/// Slices closer than this along the normal are the same plane, mm.
const SAME_PLANE_MM: f64 = 1e-3;

/// Distances between slices that differ by more are uneven, mm: positions are written with two or
/// more decimals.
const UNEVEN_MM: f64 = 0.02;

/// One slice.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Slice {
    series: Token,
    frame: Option<Token>,
    patient: Option<Token>,
    modality: &'static str,
    object: Token,
    date: Option<NaiveDate>,
    position: Option<Point>,
    normal: Option<Point>,
}

impl Slice {
    /// The slice of a file's header, with the tokens of its object and patient; nothing without
    /// series or instance UID.
    pub(super) fn of(
        header: &Header<'_>,
        (object, patient): (Option<&Token>, Option<&Token>),
        recent: &mut Recent<'_>,
    ) -> Option<Self> {
        let mut token = |kind, raw: &str| (!raw.is_empty()).then(|| recent.token(kind, raw));
        let normal = vector(&header.orientation).and_then(normal);
        Some(Self {
            series: token(Kind::Series, &header.series)?,
            frame: token(Kind::Frame, &header.frame),
            patient: patient.cloned(),
            modality: modality(&header.modality),
            object: object.cloned()?,
            date: date(&header.date),
            position: vector(&header.position),
            normal,
        })
    }
}

impl Slice {
    fn is_of_series(&self, other: &Self) -> bool {
        self.series == other.series && self.patient == other.patient
    }

    /// Whether it is the same slice for another patient; the day may differ.
    pub(super) fn is_copy_of(&self, other: &Self) -> bool {
        let kept = |s: &Self| Self { patient: None, date: None, ..s.clone() };
        kept(self) == kept(other)
    }

    /// The slices of a multi-frame image of which this is the header: position and orientation stand
    /// in the functional groups, of each frame or shared by all (PS3.3 C.7.6.16.2.3 and
    /// C.7.6.16.2.4).
    pub(super) fn frames(&self, image: &InMemDicomObject) -> Vec<Self> {
        let remarks = RefCell::new(Remarks::default());
        let root = Attributes::new(image, &remarks);
        let shared = root.first_item(tags::SHARED_FUNCTIONAL_GROUPS_SEQUENCE);
        let place = |frame: &Attributes<'_>, group: Tag, tag: Tag| -> Vec<f64> {
            let own = frame.first_item(group).or_else(|| shared.as_ref()?.first_item(group));
            own.and_then(|item| item.numbers(tag).ok()).unwrap_or_default()
        };
        let frames = root.items(tags::PER_FRAME_FUNCTIONAL_GROUPS_SEQUENCE);
        let slices = frames.map(|frame| {
            let at = place(&frame, tags::PLANE_POSITION_SEQUENCE, tags::IMAGE_POSITION_PATIENT);
            let along =
                place(&frame, tags::PLANE_ORIENTATION_SEQUENCE, tags::IMAGE_ORIENTATION_PATIENT);
            Self {
                position: at.try_into().ok(),
                normal: along.try_into().ok().and_then(normal),
                ..self.clone()
            }
        });
        slices.collect()
    }
}

/// Defined terms of images (PS3.3 C.7.3.1.1.1); whatever else a file says becomes `OT`, other: it may
/// be free text.
const MODALITIES: [&str; 12] =
    ["CT", "MR", "PT", "NM", "US", "XA", "RF", "CR", "DX", "MG", "SC", "RTIMAGE"];

fn modality(text: &str) -> &'static str {
    let known = MODALITIES.into_iter().find(|m| m.eq_ignore_ascii_case(text.trim()));
    known.unwrap_or(if text.trim().is_empty() { "" } else { "OT" })
}

fn normal([a, b, c, x, y, z]: [f64; 6]) -> Option<Point> {
    unit(cross([a, b, c], [x, y, z]))
}

/// So many numbers and, at most, an empty component after them.
fn vector<const N: usize>(text: &str) -> Option<[f64; N]> {
    let mut components = text.split('\\');
    let mut list = [0.0; N];
    for number in &mut list {
        *number = decimal(components.next()?)?.value;
    }
    let rest = components.next().unwrap_or_default().trim_matches(PADDING);
    (rest.is_empty() && components.next().is_none()).then_some(list)
}

/// What holds slices together: one series of one patient.
type SeriesKey = (Token, Option<Token>);

/// The slices as series, by series token and patient.
pub(super) fn series(
    slices: impl IntoIterator<Item = Slice>,
    identity: &Identity,
) -> Vec<ImageSeries> {
    let mut groups: HashMap<SeriesKey, Vec<Slice>> = HashMap::new();
    // Slices of one series mostly follow each other.
    let mut run: Vec<Slice> = Vec::new();
    for slice in slices {
        if run.last().is_some_and(|last| !last.is_of_series(&slice)) {
            add(&mut groups, &mut run);
        }
        run.push(slice);
    }
    add(&mut groups, &mut run);
    let one = |((series, _), slices)| gathered(series, slices, identity);
    let mut series: Vec<_> = groups.into_par_iter().map(one).collect();
    series.par_sort_unstable_by(|a, b| (&a.series, &a.patient).cmp(&(&b.series, &b.patient)));
    series
}

fn add(groups: &mut HashMap<SeriesKey, Vec<Slice>>, run: &mut Vec<Slice>) {
    if let Some(last) = run.last() {
        groups.entry((last.series.clone(), last.patient.clone())).or_default().append(run);
    }
}

fn gathered(series: Token, mut slices: Vec<Slice>, identity: &Identity) -> ImageSeries {
    slices.sort_by(|a, b| a.object.cmp(&b.object));
    let first = slices.first();
    let mut objects: Vec<Token> = slices.iter().map(|s| s.object.clone()).collect();
    objects.dedup();
    let along = SlicePositions::of(&slices);
    let patient = first.and_then(|s| s.patient.clone());
    let date = slices.iter().filter_map(|s| s.date).min();
    ImageSeries {
        frame: first.and_then(|s| s.frame.clone()),
        day: date.zip(patient.as_ref()).map(|(date, p)| identity.day(p, days(date))),
        patient,
        modality: first.map(|s| s.modality.to_owned()).unwrap_or_default(),
        spacing: along.as_ref().and_then(|a| a.spacing()).map(Millimetre::mm),
        planes: along.as_ref().and_then(SlicePositions::planes),
        places: along.map(SlicePositions::slices),
        slices: slices.len(),
        objects,
        series,
    }
}

/// Where slices lie along their normal.
struct SlicePositions {
    normal: Point,
    /// Positions in order, mm.
    places: Vec<f64>,
    /// The slice at each of them.
    objects: Vec<Token>,
    /// Distances between neighbouring planes in order of size, mm.
    gaps: Vec<f64>,
}

impl SlicePositions {
    fn of(slices: &[Slice]) -> Option<Self> {
        let normal = slices.iter().find_map(|slice| slice.normal)?;
        let placed = slices.iter().filter_map(|s| Some((dot(s.position?, normal), &s.object)));
        let mut placed: Vec<(f64, &Token)> = placed.collect();
        placed.sort_by(|a, b| a.0.total_cmp(&b.0));
        let places: Vec<f64> = placed.iter().map(|(place, _)| *place).collect();
        let objects = placed.into_iter().map(|(_, object)| object.clone()).collect();
        let gaps = places.windows(2).map(|pair| pair[1] - pair[0]);
        let mut gaps: Vec<f64> = gaps.filter(|gap| *gap > SAME_PLANE_MM).collect();
        gaps.sort_by(f64::total_cmp);
        Some(Self { normal, places, objects, gaps })
    }

    /// Median distance between neighbours.
    fn spacing(&self) -> Option<f64> {
        self.gaps.get(self.gaps.len() / 2).copied()
    }

    /// Where the slices lie, each place once.
    fn slices(self) -> SlicePlaces {
        let (mut places_mm, mut objects) = (Vec::new(), Vec::new());
        for (place, object) in self.places.into_iter().zip(self.objects) {
            if places_mm.last().is_none_or(|kept| place - kept > SAME_PLANE_MM) {
                places_mm.push(place);
                objects.push(object);
            }
        }
        SlicePlaces { normal: self.normal, places_mm, objects }
    }

    /// The planes, when their distances differ by no more than the rounding of positions.
    fn planes(&self) -> Option<ImagePlanes> {
        let (narrowest, widest) = (self.gaps.first()?, self.gaps.last()?);
        let (first, last) = (*self.places.first()?, *self.places.last()?);
        let gap_mm = (last - first) / f64::from(u32::try_from(self.gaps.len()).ok()?);
        let even = widest - narrowest <= UNEVEN_MM;
        even.then_some(ImagePlanes { normal: self.normal, first_mm: first, gap_mm })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use tidydose_rt::identity::Identity;

    fn head(instance: &'static str, position: &'static str) -> Header<'static> {
        Header {
            instance: instance.into(),
            series: "1.2".into(),
            frame: "1.3".into(),
            modality: "MR".into(),
            position: position.into(),
            orientation: "1\\0\\0\\0\\0\\-1".into(),
            date: "20200102".into(),
            ..Header::default()
        }
    }

    /// Coronal slices: the normal is y, whatever the order of files.
    #[test]
    fn spacing_is_taken_along_the_normal() {
        let identity = Identity::kept();
        let heads = [head("3", "0\\4\\9"), head("1", "0\\0\\9"), head("2", "0\\2.5\\9")];
        let slice = |h: &Header<'_>| {
            let object = identity.token(Kind::Object, &h.instance);
            Slice::of(h, (Some(&object), None), &mut Recent::new(&identity))
        };
        let series = series(heads.iter().filter_map(slice), &identity);
        assert_eq!(series.len(), 1);
        assert_eq!(series[0].slices, 3);
        assert_eq!(series[0].spacing, Some(Millimetre::mm(2.5)));
        let places = series[0].places.as_ref().unwrap();
        assert_eq!(places.places_mm, [0.0, 2.5, 4.0]);
        assert_eq!(places.gap_at(2.5), Some(Millimetre::mm(2.0)));
        assert_eq!(series[0].objects[0].as_str(), "1");
    }
}
