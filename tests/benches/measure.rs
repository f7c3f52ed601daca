//! Benches of single steps: `cargo bench --bench measure`. Every figure is meant as a ratio within one run on
//! one machine, so each group holds its own yardstick.
#![allow(missing_docs, unreachable_pub, dead_code)] // a bench program has no readers of its items
#![allow(clippy::unwrap_used, clippy::cast_precision_loss, clippy::cast_possible_truncation)]

#[path = "../phantom/mod.rs"]
mod phantom;

use std::path::Path;
use std::sync::OnceLock;
use std::sync::atomic::AtomicBool;

use divan::{Bencher, black_box};
use ndarray::Array3;
use tidydose_analyse::{Ends, Settings, analyse};
use tidydose_case::Case;
use tidydose_dicom as dicom;
use tidydose_dose::{DoseField, Interpolation};
use tidydose_geometry::Grid;
use tidydose_geometry::units::Gray;
use tidydose_rt::identity::{Identity, Token};
use tidydose_rt::{Contour, ContourType, Dose, Origin, Person, Roi, RoiHeader, StructureSet};

use phantom::solid::{PlaneStack, Solid};

/// Counts what the allocator hands out: the largest sum at one time is shown as "max alloc".
#[global_allocator]
static ALLOCATOR: divan::AllocProfiler = divan::AllocProfiler::system();

fn main() {
    divan::main();
    // What is static is not dropped.
    for folder in headers::FOLDERS.iter().filter_map(OnceLock::get) {
        std::fs::remove_dir_all(folder.path()).unwrap();
    }
}

/// Finding out what files are against reading the first 4 KiB of each, which any program must: the
/// scan is held to twice that. Warm cache, all processors.
#[divan::bench_group(sample_count = 5, sample_size = 1)]
mod headers {
    use std::fs::File;
    use std::io::Read;

    use rayon::prelude::*;

    use super::*;
    use phantom::dicom::{CtImage, Header};

    const FILES: [usize; 2] = [10_000, 100_000];
    pub static FOLDERS: [OnceLock<tempfile::TempDir>; 2] = [const { OnceLock::new() }; 2];

    fn archive(files: usize) -> &'static Path {
        let which = FILES.iter().position(|n| *n == files).unwrap();
        let folder = FOLDERS[which].get_or_init(|| {
            let folder = tempfile::tempdir().unwrap();
            for number in 0..files {
                let mut header = Header::new(&format!("P{}", number / 200), &number.to_string());
                header.series_uid = format!("2.25.{}", number / 200);
                let mut slice = CtImage::new(header, (number % 200) as f64, 1.0);
                slice.size = [64, 64];
                let series = folder.path().join(format!("series {}", number / 200));
                std::fs::create_dir_all(&series).unwrap();
                std::fs::write(series.join(format!("{number}")), slice.bytes().unwrap()).unwrap();
            }
            folder
        });
        folder.path()
    }

    #[divan::bench(args = FILES)]
    fn first_4_kib(bencher: Bencher<'_, '_>, files: usize) {
        let folder = archive(files);
        bencher.bench(|| {
            let files: Vec<_> = walkdir::WalkDir::new(folder)
                .into_iter()
                .filter_map(Result::ok)
                .filter(|entry| entry.file_type().is_file())
                .collect();
            let read = |entry: &walkdir::DirEntry| {
                let mut bytes = Vec::with_capacity(4096);
                File::open(entry.path()).unwrap().take(4096).read_to_end(&mut bytes).unwrap()
            };
            files.par_iter().map(read).sum::<usize>()
        });
    }

    #[divan::bench(args = FILES)]
    fn scan(bencher: Bencher<'_, '_>, files: usize) {
        let (roots, identity) = ([archive(files).to_path_buf()], Identity::keyed([1; 32]));
        let stop = AtomicBool::new(false);
        bencher.bench(|| {
            let scan = dicom::scan(&roots, &identity, &|_| (), &stop).unwrap();
            assert_eq!(scan.inventory.images.len(), files / 200);
            scan
        });
    }
}

/// Bytes of memory read against points of dose interpolated.
#[divan::bench_group(sample_count = 5, sample_size = 1)]
mod kernel {
    use super::*;

    fn dose(n: usize) -> Dose {
        let offsets = (0..n).map(|k| k as f64).collect();
        let directions = [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0]];
        let grid = Grid::new([0.0; 3], directions, [1.0; 2], offsets, [n, n]).unwrap();
        let centre = n as f64 / 2.0;
        let values = Array3::from_shape_fn([n, n, n], |(k, i, j)| {
            let r2: f64 = [k, i, j].iter().map(|x| (*x as f64 - centre).powi(2)).sum();
            (40.0 * (-r2 / 800.0).exp()) as f32
        });
        Dose { grid, values, step: Gray::gy(1e-6) }
    }

    /// 4 million 4-byte numbers read and added: 16 MB a pass.
    #[divan::bench]
    fn read_memory(bencher: Bencher<'_, '_>) {
        let d = dose(160);
        bencher.bench(|| d.values.iter().sum::<f32>());
    }

    /// One million points of dose with their slopes.
    #[divan::bench(args = [Interpolation::CubicBSpline, Interpolation::Trilinear])]
    fn million_points(bencher: Bencher<'_, '_>, method: Interpolation) {
        let field = DoseField::new(dose(160), method);
        bencher.bench(|| {
            let mut sum = 0.0;
            for i in 0..1_000_000_u32 {
                let x = 2.0 + f64::from(i % 1000) * 0.15;
                let y = 2.0 + f64::from(i / 1000) * 0.15;
                sum += field.with_slope([80.3, y, x]).map_or(0.0, |d| d.0);
            }
            black_box(sum)
        });
    }
}

/// A case as large as they come: 25 structures on a grid of 256 × 256 × 180, on one thread. The dose
/// of 47 MB in single precision is made before and not counted in "max alloc"; the goal is below
/// five times its size with it.
#[divan::bench_group(sample_count = 3, sample_size = 1)]
mod large_case {
    use super::*;

    fn dose() -> Dose {
        let offsets = (0..180).map(f64::from).collect();
        let directions = [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0]];
        let grid =
            Grid::new([-128.0, -128.0, -90.0], directions, [1.0; 2], offsets, [256, 256]).unwrap();
        let values = Array3::from_shape_fn(grid.shape(), |at| {
            let p = grid.position(at.into());
            let bump = |c: [f64; 3], s: f64| {
                let r2: f64 = p.iter().zip(c).map(|(x, c)| (x - c) * (x - c)).sum();
                25.0 * (-r2 / (2.0 * s * s)).exp()
            };
            (bump([20.0, 10.0, 5.0], 5.0) + bump([-30.0, -20.0, 15.0], 3.0) + 0.3) as f32
        });
        Dose { grid, values, step: Gray::gy(1e-6) }
    }

    fn structures() -> StructureSet {
        let mut solids = vec![
            Solid::ellipsoid([0.0; 3], [68.0, 82.0, 60.0]),
            Solid::ellipsoid([0.0, 15.0, -45.0], [16.0, 14.0, 24.0]),
            Solid::ball([20.0, 10.0, 5.0], 6.0),
            Solid::ball([-30.0, -20.0, 15.0], 3.0),
        ];
        for i in 0..21 {
            let a = f64::from(i) * 0.9;
            let centre = [45.0 * a.cos(), 50.0 * a.sin(), 3.0 * f64::from(i) - 30.0];
            solids.push(Solid::ellipsoid(centre, [4.0 + f64::from(i % 5), 6.0, 5.0]));
        }
        set_of(&solids)
    }

    fn run(bencher: Bencher<'_, '_>, settings: &Settings) {
        let (set, case) = (structures(), case());
        bencher
            .with_inputs(dose)
            .bench_values(|d| analyse(&case, Some(&set), Some(d), settings).measurements.len());
    }

    #[divan::bench]
    fn closed_caps_and_spline(bencher: Bencher<'_, '_>) {
        run(bencher, &Settings::default());
    }

    #[divan::bench]
    fn half_slice_and_trilinear(bencher: Bencher<'_, '_>) {
        let settings = Settings {
            interpolation: Interpolation::Trilinear,
            ends: Ends::HalfSlice,
            ..Settings::default()
        };
        run(bencher, &settings);
    }
}

/// Thirty lesions in a brain, each with its prescription, on one thread: what every metric there is
/// costs against the short list. The goal is 2.5 times.
#[divan::bench_group(sample_count = 3, sample_size = 1)]
mod many_lesions {
    use tidydose_case::{NameBasis, NamedRoi, Prescription, PrescriptionBasis, Role};
    use tidydose_metrics::List;

    use super::*;

    /// Centre and radius, mm, on three rings; no two reach each other.
    fn lesions() -> Vec<([f64; 3], f64)> {
        let one = |i: u32| {
            let (ring, turn) = (f64::from(i / 10), f64::from(i % 10) * 0.628 + f64::from(i) * 0.1);
            let centre = [45.0 * turn.cos(), 55.0 * turn.sin(), 22.0 * ring - 20.3];
            (centre, 2.0 + f64::from(i % 5))
        };
        (0..30).map(one).collect()
    }

    fn dose() -> Dose {
        let offsets = (0..60).map(|k| 2.0 * f64::from(k)).collect();
        let directions = [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0]];
        let grid =
            Grid::new([-80.0, -95.0, -60.0], directions, [2.0; 2], offsets, [95, 80]).unwrap();
        let values = Array3::from_shape_fn(grid.shape(), |at| {
            let p = grid.position(at.into());
            let bump = |(c, radius): &([f64; 3], f64)| {
                let r2: f64 = p.iter().zip(c).map(|(x, c)| (x - c) * (x - c)).sum();
                // Half of the largest dose at the edge, 20 Gy.
                40.0 * (-r2 / (radius * radius) * std::f64::consts::LN_2).exp()
            };
            (lesions().iter().map(bump).sum::<f64>() + 0.3) as f32
        });
        Dose { grid, values, step: Gray::gy(1e-6) }
    }

    fn named(number: i64) -> NamedRoi {
        let (name, role, standard) = match number {
            1 => ("Brain".to_owned(), Role::Organ, Some("Brain".to_owned())),
            2 => ("Brainstem".to_owned(), Role::Organ, Some("Brainstem".to_owned())),
            n => (format!("GTV{n}"), Role::Gtv, None),
        };
        NamedRoi { number, original: name, standard, role, basis: NameBasis::Exact }
    }

    fn plan() -> (Case, StructureSet) {
        let mut solids = vec![
            Solid::ellipsoid([0.0; 3], [68.0, 82.0, 60.0]),
            Solid::ellipsoid([0.0, 15.0, -45.0], [16.0, 14.0, 24.0]),
        ];
        solids.extend(lesions().iter().map(|(centre, radius)| Solid::ball(*centre, *radius)));
        let names: Vec<_> = (1..).zip(&solids).map(|(number, _)| named(number)).collect();
        let targets = names.iter().filter(|n| n.role.is_target());
        let prescriptions = targets.map(|n| Prescription {
            roi_number: n.number,
            dose: Gray::gy(20.0),
            basis: PrescriptionBasis::User,
        });
        let prescriptions = prescriptions.collect();
        (Case { names, prescriptions, ..case() }, set_of(&solids))
    }

    fn run(bencher: Bencher<'_, '_>, list: List) {
        let (case, set) = plan();
        let settings = Settings { metrics: list.metrics(), ..Settings::default() };
        bencher
            .with_inputs(dose)
            .bench_values(|d| analyse(&case, Some(&set), Some(d), &settings).measurements.len());
    }

    #[divan::bench]
    fn basic_list(bencher: Bencher<'_, '_>) {
        run(bencher, List::Basic);
    }

    #[divan::bench]
    fn full_list(bencher: Bencher<'_, '_>) {
        run(bencher, List::Full);
    }
}

fn set_of(solids: &[Solid]) -> StructureSet {
    let rois = solids.iter().zip(1..).map(|(s, number)| roi(s, number)).collect();
    let origin = Origin {
        file: Token::new("file"),
        object: Token::new("object"),
        patient: None,
        digest: String::new(),
        person: Person::default(),
    };
    StructureSet { origin, frame: None, rois }
}

fn roi(solid: &Solid, number: i64) -> Roi {
    let contours: Vec<Contour> = solid
        .sections(&PlaneStack::axial(1.0, 0.3), 200)
        .into_iter()
        .map(|o| Contour { kind: ContourType::ClosedPlanar, points: o.points })
        .collect();
    let header = RoiHeader {
        contours: contours.len(),
        ..RoiHeader::named(number, format!("structure {number}"))
    };
    Roi { header, contours, refused: None }
}

fn case() -> Case {
    Case::named(Token::new("case"))
}
