//! A slice of CT or MR behind the outlines of an axial picture. Shown is what lies inside of the brain
//! and of targets as they are drawn in that plane, and nothing else: the surface of a head is a face.

use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use resvg::tiny_skia::{IntSize, Pixmap};

use super::ReviewError;
use super::number::position;
use super::picture::{Picture, pictures};
use tidydose_rt::ImageSlice;
use tidydose_table::read::{PlanRow, Tables, TraceKind, TraceRow, rows, rows_where};

/// A plane of a picture behind which a slice may be shown.
#[derive(Debug, Clone, PartialEq)]
pub struct ImagePlane {
    /// The case.
    pub plan_id: String,
    /// Its structure set, as a token.
    pub structure_set_id: String,
    /// Middle of the picture in the patient, mm.
    pub centre_mm: [f64; 3],
}

/// A slice for the picture of a case.
#[derive(Debug, Clone, PartialEq)]
pub struct Backdrop {
    /// The picture.
    pub plane: ImagePlane,
    /// How far the slice lies off it, mm.
    pub off_mm: f64,
    /// The slice.
    pub slice: ImageSlice,
}

/// Points of the image along a side.
const SIDE: u16 = 240;
/// Shades of the image: lines in dark colours stay visible on the darkest.
const SHADES: [f64; 2] = [105.0, 255.0];
/// The window for the brain in a CT, Hounsfield units: common practice.
const BRAIN_WINDOW: [f64; 2] = [0.0, 80.0];
/// The window in other images: so much of the visible points below and above it.
const CUT_SHARE: f64 = 0.02;
/// Direction cosines of an axial slice differ by less than this from the axes.
const AXIAL: f64 = 1e-3;
/// A plane and a point are as far apart as the table says, but for its digits, mm.
const DIGITS_MM: f64 = 0.02;

/// An image as it is put into a page.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Layer {
    /// The image as a data address.
    pub(super) address: String,
    /// What it is.
    pub(super) words: String,
}

/// The planes of the pictures of an organ behind which a slice may be shown: axial ones.
///
/// # Errors
/// When a table is missing or cannot be understood.
pub fn image_planes(tables: &Tables, organ: &str) -> Result<Vec<ImagePlane>, ReviewError> {
    for needed in ["plans", "pictures", "traces"] {
        if !tables.contains_key(needed) {
            return Err(ReviewError::Table(needed));
        }
    }
    let plans: Vec<PlanRow<'_>> = rows(tables)?;
    let hottest: Vec<TraceRow<'_>> =
        rows_where(tables, "kind", |kind| kind == TraceKind::Hottest.word())?;
    let mut planes = Vec::new();
    for picture in pictures(tables, |_| true)? {
        if picture.structure != organ || !picture.is_axial_as_drawn() {
            continue;
        }
        let plan = plans.iter().find(|p| p.plan_id == picture.plan_id);
        let point = hottest.iter().find(|t| t.structure_id == picture.structure_id);
        let centre = point.and_then(|p| centre(p, &picture));
        if let (Some(plan), Some(centre_mm)) = (plan, centre) {
            planes.push(ImagePlane {
                plan_id: plan.plan_id.to_owned(),
                structure_set_id: plan.structure_set_id.to_owned(),
                centre_mm,
            });
        }
    }
    Ok(planes)
}

/// The point of interest moved into the plane of the picture. Its position is counted along a normal
/// that may point to the head or to the feet; absent where it fits neither, as for tilted planes.
fn centre(point: &TraceRow<'_>, picture: &Picture<'_>) -> Option<[f64; 3]> {
    let (x, y, z) = (point.x_mm?, point.y_mm?, point.z_mm?);
    let fits = |w: &f64| ((w - z).abs() - picture.off_plane_mm).abs() < DIGITS_MM;
    let w = [picture.plane_mm, -picture.plane_mm].into_iter().find(fits)?;
    Some([x, y, w])
}

impl Backdrop {
    /// The image behind a picture; absent where the slice is not axial, or no brain is drawn in the
    /// plane.
    pub(super) fn layer(&self, picture: &Picture<'_>) -> Option<Layer> {
        let slice = &self.slice;
        let axial = (slice.right[0] - 1.0).abs() < AXIAL && (slice.down[1] - 1.0).abs() < AXIAL;
        if !axial {
            return None;
        }
        let reach = picture.reach();
        let side = usize::from(SIDE);
        let step = 2.0 * reach / f64::from(SIDE);
        let place = |i: u16| (f64::from(i) + 0.5) * step - reach;
        let inside = picture.inside_of_head();
        let mut values: Vec<Option<f64>> = Vec::with_capacity(side * side);
        for row in 0..SIDE {
            for column in 0..SIDE {
                let [x, y] = [place(column), place(row)];
                let [cx, cy, cz] = self.plane.centre_mm;
                let shown = inside.hold([x, y]);
                values.push(if shown { slice.at([cx + x, cy + y, cz]) } else { None });
            }
        }
        let window = self.window(&values)?;
        let png = png(&values, window)?;
        let address = format!("data:image/png;base64,{}", STANDARD.encode(png));
        let (modality, off) = (&slice.modality, position(self.off_mm));
        let [low, high] = window.map(|v| format!("{v:.0}"));
        let unit = if modality == "CT" { " HU" } else { "" };
        let words = format!(
            "Behind it: {modality} slice {off} mm off, window {low} to {high}{unit}, shown inside \
             the brain and targets only."
        );
        Some(Layer { address, words })
    }

    /// The values that are shown darkest and brightest; absent where nothing is shown.
    fn window(&self, values: &[Option<f64>]) -> Option<[f64; 2]> {
        let mut shown: Vec<f64> = values.iter().flatten().copied().collect();
        if shown.is_empty() {
            return None;
        }
        if self.slice.modality == "CT" {
            return Some(BRAIN_WINDOW);
        }
        shown.sort_by(f64::total_cmp);
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a count")]
        #[expect(clippy::cast_precision_loss, reason = "a count of points")]
        let cut = (shown.len() as f64 * CUT_SHARE) as usize;
        let [low, high] = [shown.get(cut)?, shown.get(shown.len() - 1 - cut)?];
        Some([*low, high.max(low + 1.0)])
    }
}

/// The values in shades of grey, nothing where there is none.
fn png(values: &[Option<f64>], [low, high]: [f64; 2]) -> Option<Vec<u8>> {
    let mut pixels = Vec::with_capacity(4 * values.len());
    for value in values {
        let Some(value) = value else {
            pixels.extend([0; 4]);
            continue;
        };
        let share = ((value - low) / (high - low)).clamp(0.0, 1.0);
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "0 to 255")]
        let shade = (SHADES[0] + share * (SHADES[1] - SHADES[0])).round() as u8;
        pixels.extend([shade, shade, shade, u8::MAX]);
    }
    let size = IntSize::from_wh(u32::from(SIDE), u32::from(SIDE))?;
    Pixmap::from_vec(pixels, size)?.encode_png().ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A slice that is 20 HU on the patient's right of the middle and 60 HU on the left, 100 HU in
    /// front; a brain that reaches 8 mm from the middle, and an eye in front of it.
    #[test]
    fn the_slice_lies_where_it_is_in_the_patient_and_ends_with_the_brain() {
        use tidydose_table::read::Role;
        let value = |row: i32, column: i32| match (row < 36, column < 40) {
            (true, _) => 100.0,
            (false, true) => 20.0,
            (false, false) => 60.0,
        };
        let pixels = |row| (0..80).map(move |column| value(row, column));
        let slice = ImageSlice {
            modality: "CT".to_owned(),
            corner_mm: [10.0 - 39.5, -20.0 - 39.5, 5.5],
            right: [1.0, 0.0, 0.0],
            down: [0.0, 1.0, 0.0],
            spacing_mm: [1.0, 1.0],
            columns: 80,
            values: (0..80).flat_map(pixels).collect(),
        };
        let plane = ImagePlane {
            plan_id: "p".to_owned(),
            structure_set_id: "s".to_owned(),
            centre_mm: [10.0, -20.0, 5.0],
        };
        let backdrop = Backdrop { plane, off_mm: 0.5, slice };
        let picture = Picture::example(&[
            ("Brainstem", Role::Organ, 6.0, [0.0, 0.0]),
            ("Brain", Role::Organ, 8.0, [0.0, 0.0]),
            ("Eye_L", Role::Organ, 2.0, [0.0, -10.5]),
        ]);
        let layer = backdrop.layer(&picture).unwrap();
        let text = layer.address.strip_prefix("data:image/png;base64,").unwrap();
        let image = Pixmap::decode_png(&STANDARD.decode(text).unwrap()).unwrap();
        let reach = picture.reach();
        assert!((reach - 12.0).abs() < 1e-9, "the least half side");
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a place")]
        let at = |x: f64, y: f64| {
            let [column, row] =
                [x, y].map(|v| ((v + reach) / (2.0 * reach) * f64::from(SIDE)) as u32);
            image.pixel(column, row).map(|p| (p.red(), p.alpha())).unwrap()
        };
        let shade = |value: f64| (105.0 + 150.0 * value / 80.0).round() as u8;
        assert_eq!(at(-3.0, 3.0), (shade(20.0), 255), "right of the patient is left");
        assert_eq!(at(3.0, 3.0), (shade(60.0), 255));
        assert_eq!(at(3.0, -6.0), (255, 255), "in front is up, brighter than the window");
        assert_eq!((at(0.0, -10.5).1, at(9.0, 0.0).1), (0, 0), "an eye and what is outside");
        assert!(layer.words.contains("CT slice 0.5 mm off, window 0 to 80 HU"), "{}", layer.words);
        let bare = Picture::example(&[("Eye_L", Role::Organ, 2.0, [0.0, -10.5])]);
        assert_eq!(backdrop.layer(&bare), None, "nothing of a head without a brain");
    }

    #[test]
    fn what_is_outside_the_window_has_the_last_shade_and_nothing_stays_nothing() {
        let mut values = vec![None; usize::from(SIDE) * usize::from(SIDE)];
        values[0] = Some(-50.0);
        values[1] = Some(40.0);
        values[2] = Some(500.0);
        let png = png(&values, BRAIN_WINDOW).unwrap();
        let read = Pixmap::decode_png(&png).unwrap();
        let shades: Vec<(u8, u8)> =
            read.pixels()[..4].iter().map(|p| (p.red(), p.alpha())).collect();
        assert_eq!(shades, [(105, 255), (180, 255), (255, 255), (0, 0)]);
    }
}
