//! From what was seen of each file to the inventory: rows and places by token, slices as series, and
//! for structures the planes of their images. Everything that an archive has by the hundred
//! thousand is moved and freed by all processors. Must not open files.

#![allow(clippy::vec_box)] // what was seen of a file is moved and sorted more often than read

use std::collections::{BTreeMap, BTreeSet, HashMap, HashSet};

use rayon::prelude::*;

use super::file_location::FileLocation;
use super::image::{Slice, series};
use super::scanned_file::{Content, ScannedFile};
use super::{Ledger, Scan};
use tidydose_geometry::point::{Point, dot};
use tidydose_geometry::stack::PLANAR_MM;
use tidydose_geometry::units::Millimetre;
use tidydose_rt::identity::{Identity, Kind, Token};
use tidydose_rt::{
    FileRecord, ImageSeries, Inventory, PlaneSpacing, SpacingSource, StructureSetHeader,
};

/// The scan that is made of these files.
pub(super) fn gather(mut seen: Vec<Box<ScannedFile>>, identity: &Identity) -> Scan {
    let slices: Vec<Slice> = seen.par_iter_mut().flat_map_iter(|file| slices(file)).collect();
    let keyed = |file: Box<ScannedFile>| (file.record.file.clone(), file);
    let mut seen: Vec<(Token, Box<ScannedFile>)> = seen.into_par_iter().map(keyed).collect();
    // In the order in which tables and maps are kept.
    seen.par_sort_unstable_by(|a, b| a.0.cmp(&b.0));
    let mut scan = Scan::default();
    let mut references = References::new();
    for (_, file) in &mut seen {
        scan.ledger.note(file, identity);
        scan.findings.append(&mut file.findings);
        scan.errors.extend(file.error.take());
        let content = std::mem::replace(&mut file.content, Content::Nothing);
        take(content, &mut scan.inventory, &mut references);
    }
    let (images, (files, paths)) = rayon::join(|| series(slices, identity), || rows(seen));
    scan.paths = paths;
    scan.inventory.files = files;
    scan.inventory.images = images;
    fill_planes(&mut scan.inventory, &references);
    sort(&mut scan);
    scan
}

/// Of each structure set the series it refers to, and an image for each ROI Number.
type References = BTreeMap<Token, (Vec<Token>, BTreeMap<i64, Token>)>;

fn slices(file: &mut ScannedFile) -> Vec<Slice> {
    match &mut file.content {
        Content::Slices(slices) => std::mem::take(slices),
        _ => Vec::new(),
    }
}

fn rows(seen: Vec<(Token, Box<ScannedFile>)>) -> (Vec<FileRecord>, BTreeMap<Token, FileLocation>) {
    let (mut files, mut places) = (Vec::new(), Vec::new());
    let row = |(key, file): (Token, Box<ScannedFile>)| {
        let ScannedFile { record, place, .. } = *file;
        (record, (key, place))
    };
    seen.into_par_iter().map(row).unzip_into_vecs(&mut files, &mut places);
    // All at once: a map that is built from a list is not searched for each place.
    (files, places.into_iter().collect())
}

fn take(content: Content, inventory: &mut Inventory, references: &mut References) {
    match content {
        Content::Nothing | Content::Container(_) | Content::Slices(_) => {}
        Content::StructureSet(header, series, images) => {
            references.insert(header.origin.object.clone(), (series, images));
            inventory.structure_sets.push(*header);
        }
        Content::Dose(header) => inventory.doses.push(*header),
        Content::Plan(plan) => inventory.plans.push(*plan),
        Content::Record(record) => inventory.records.push(*record),
        Content::Registration(found) => inventory.registrations.push(*found),
    }
}

fn fill_planes(inventory: &mut Inventory, references: &References) {
    let slices = Slices::of(&inventory.images, references.values().flat_map(|(_, i)| i.values()));
    for set in &mut inventory.structure_sets {
        if let Some((series, images)) = references.get(&set.origin.object) {
            slices.fill_planes(set, series, images);
        }
    }
}

/// Everything by what it is called; files are in order already.
fn sort(scan: &mut Scan) {
    let inventory = &mut scan.inventory;
    inventory.structure_sets.sort_by(|a, b| a.origin.cmp(&b.origin));
    inventory.doses.sort_by(|a, b| a.origin.cmp(&b.origin));
    inventory.plans.sort_by(|a, b| a.origin.cmp(&b.origin));
    inventory.records.sort_by(|a, b| a.origin.cmp(&b.origin));
    inventory.registrations.sort_by(|a, b| a.origin.cmp(&b.origin));
    scan.findings.sort();
    scan.findings.dedup();
    scan.errors.sort_by(|a, b| a.file().cmp(b.file()));
}

impl Ledger {
    fn note(&mut self, seen: &ScannedFile, identity: &Identity) {
        let known = |token: &Option<Token>, kind, raw: &str| {
            token.clone().unwrap_or_else(|| identity.token(kind, raw))
        };
        if let Some(id) = &seen.patient_id {
            let token = known(&seen.record.patient, Kind::Patient, id);
            self.patients.entry(token).or_insert_with(|| id.clone());
        }
        if let (Some(uid), Some(_)) = (&seen.uid, &seen.record.digest) {
            let token = known(&seen.record.object, Kind::Object, uid);
            if let Some(label) = &seen.plan_label {
                self.plan_labels.entry(token.clone()).or_insert_with(|| label.clone());
            }
            self.objects.entry(token).or_insert_with(|| uid.clone());
        }
    }
}

/// The image series by what structures know of them.
struct Slices<'a> {
    /// All series, by token.
    all: &'a [ImageSeries],
    /// Those that hold the images asked for.
    holding: HashMap<&'a Token, &'a ImageSeries>,
    /// The only series of a frame of reference; nothing where there are several.
    of_frame: HashMap<&'a Token, Option<&'a ImageSeries>>,
}

impl<'a> Slices<'a> {
    fn of(all: &'a [ImageSeries], images: impl Iterator<Item = &'a Token>) -> Self {
        let wanted: HashSet<&Token> = images.collect();
        let mut slices = Self { all, holding: HashMap::new(), of_frame: HashMap::new() };
        for series in all {
            for object in series.objects.iter().filter(|o| wanted.contains(o)) {
                slices.holding.entry(object).or_insert(series);
            }
            if let Some(frame) = &series.frame {
                // The same series for another patient lies where its copy lies.
                let only = slices.of_frame.entry(frame);
                let same = |only: &ImageSeries| only.series == series.series;
                only.and_modify(|only| *only = only.filter(|o| same(o))).or_insert(Some(series));
            }
        }
        slices
    }

    /// Where the series of a token is, that of the patient where there are copies of it for others.
    fn of_set(&self, series: &Token, patient: Option<&Token>) -> Option<usize> {
        let first = self.all.partition_point(|s| s.series < *series);
        let rest = self.all.get(first..)?.iter();
        let copies: Vec<&ImageSeries> = rest.take_while(|s| s.series == *series).collect();
        let own = copies.iter().position(|s| s.patient.as_ref() == patient);
        (!copies.is_empty()).then(|| first + own.unwrap_or(0))
    }

    /// Takes the planes of the images from the series that holds the image the contours refer to,
    /// else from the only series the structure set refers to; for structures of which neither the
    /// object nor the other structures tell the distance between planes also that distance at their
    /// place, if need be of the only series in their frame of reference.
    fn fill_planes(
        &self,
        set: &mut StructureSetHeader,
        series: &[Token],
        images: &BTreeMap<i64, Token>,
    ) {
        let known: BTreeSet<usize> =
            series.iter().filter_map(|s| self.of_set(s, set.origin.patient.as_ref())).collect();
        set.imaged = known.iter().filter_map(|i| self.all.get(*i)?.day).min();
        let only = known.first().filter(|_| known.len() == 1).and_then(|i| self.all.get(*i));
        for roi in &mut set.rois {
            let image = images.get(&roi.number);
            let own = image.and_then(|i| self.holding.get(i).copied()).or(only);
            let frame = || roi.frame.as_ref().and_then(|f| self.of_frame.get(f).copied().flatten());
            let extent = set.extents.get(&roi.number);
            let distance = own.or_else(frame).and_then(|s| distance_at(s, extent?));
            roi.image_planes = own.and_then(|s| s.planes);
            let source = SpacingSource::Images;
            let spacing = distance.map(|distance| PlaneSpacing { distance, source });
            roi.plane_spacing = roi.plane_spacing.or(spacing);
        }
    }
}

/// Distance of the slices of a series at the place of a structure: at its plane, where it lies on
/// one of them; else the typical one.
fn distance_at(series: &ImageSeries, [low, high]: &[Point; 2]) -> Option<Millimetre> {
    let places = series.places.as_ref()?;
    let [low, high] = [low, high].map(|corner| dot(*corner, places.normal));
    if (high - low).abs() > PLANAR_MM {
        return series.spacing;
    }
    places.gap_at(f64::midpoint(low, high))
}
