//! Where a lesion lies as a clinician would say it, and the ranking of a patient's lesions against
//! the clinic's label. A ranking is a suggestion; who is who is the user's word.

use serde::{Deserialize, Serialize};

use super::evidence::{SeenSide, ShapeEvidence};
use super::shape::Shape;
use tidydose_case::{BrainRegion, Case, ClinicalLabel};
use tidydose_geometry::Point;

/// Where a lesion's innermost target lies, and how large it is.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LesionSite {
    /// Side of the brain's middle plane; absent where none is known.
    pub side: Option<SeenSide>,
    /// Centre within the box around the brain: 0 at its right, back and lower end, 1 at the other;
    /// absent without a brain.
    pub place: Option<Point>,
    /// Standard names of organs that hold at least half of it, without the brain.
    pub within: Vec<String>,
    /// Volume of the contours times their thickness, cc.
    pub volume_cc: f64,
    /// Longest side of its box, mm.
    pub longest_mm: f64,
}

impl LesionSite {
    /// That of one shape of a case.
    #[must_use]
    pub fn of(case: &Case, shapes: &[Shape], evidence: &[ShapeEvidence], shape: &Shape) -> Self {
        let name = |s: &Shape| {
            let named = case.name(s.roi_number)?;
            named.standard.clone().filter(|_| !named.role.is_target())
        };
        let brain = shapes.iter().find(|s| name(s).as_deref() == Some("Brain"));
        let holds = |s: &&Shape| s.volume_cc > shape.volume_cc && shape.share_inside(s) >= 0.5;
        let within = shapes.iter().filter(holds).filter_map(name).filter(|n| n != "Brain");
        Self {
            side: evidence.iter().find(|e| e.roi_number == shape.roi_number).and_then(|e| e.side),
            place: brain.map(|b| place(shape.centre_mm, b.box_mm)),
            within: within.collect(),
            volume_cc: shape.volume_cc,
            longest_mm: shape.extent_mm.into_iter().fold(0.0, f64::max),
        }
    }
}

/// From the right, from the back, from below, as a share of the box. Patient coordinates run to the
/// left, to the back and to the head.
fn place(centre: Point, [low, high]: [Point; 2]) -> Point {
    let share = |axis: usize| (centre[axis] - low[axis]) / (high[axis] - low[axis]);
    [share(0), 1.0 - share(1), share(2)]
}

/// Where a region lies: ranges of the distance from the middle plane (0 there, 1 at the side of the
/// brain), from the back and from below. Rounded from the proportions of an adult brain of
/// 140 x 172 x 134 mm with its landmarks in a stereotactic atlas; from memory, good for a ranking.
const fn ranges(region: BrainRegion) -> [[f64; 2]; 3] {
    match region {
        BrainRegion::Frontal => [[0.0, 1.0], [0.48, 1.0], [0.3, 1.0]],
        BrainRegion::Parietal => [[0.0, 1.0], [0.15, 0.48], [0.6, 1.0]],
        BrainRegion::Temporal => [[0.35, 1.0], [0.27, 0.7], [0.15, 0.52]],
        BrainRegion::Occipital => [[0.0, 0.8], [0.0, 0.2], [0.33, 0.75]],
        BrainRegion::Insula => [[0.43, 0.65], [0.44, 0.73], [0.37, 0.6]],
        BrainRegion::Deep => [[0.05, 0.43], [0.41, 0.7], [0.37, 0.6]],
        BrainRegion::Cerebellum => [[0.0, 0.8], [0.04, 0.39], [0.0, 0.37]],
        BrainRegion::Brainstem => [[0.0, 0.26], [0.33, 0.5], [0.0, 0.45]],
        BrainRegion::Angle => [[0.14, 0.5], [0.3, 0.47], [0.07, 0.3]],
        BrainRegion::Sella => [[0.0, 0.25], [0.57, 0.7], [0.13, 0.32]],
    }
}

/// This far outside of a region, as a share of the brain's box, nothing speaks for it any more.
const FADE: f64 = 0.15;

/// 1 within the region, 0 from [`FADE`] outside of it on.
fn belongs(place: Point, region: BrainRegion) -> f64 {
    let at = [(2.0 * place[0] - 1.0).abs(), place[1], place[2]];
    let outside =
        ranges(region).into_iter().zip(at).map(|([low, high], x)| (low - x).max(x - high));
    (1.0 - outside.fold(0.0, f64::max) / FADE).clamp(0.0, 1.0)
}

/// How well a lesion fits a label, and why. The score has no unit: it orders a patient's lesions.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Fit {
    /// Sum of what speaks for it and against it.
    pub score: f64,
    /// Reasons, in words.
    pub why: Vec<String>,
}

impl Fit {
    fn add(&mut self, score: f64, why: String) {
        self.score += score;
        self.why.push(why);
    }
}

/// Compares a label with a lesion; `name` is what the lesion's structure is called. A side counts
/// most: a contradicting one outweighs all the rest.
#[must_use]
pub fn fit(label: &ClinicalLabel, site: &LesionSite, name: &str) -> Fit {
    let mut fit = Fit::default();
    if let Some((left, seen)) = label.left.zip(site.side) {
        let said = if left { SeenSide::Left } else { SeenSide::Right };
        match seen {
            SeenSide::Middle => fit.add(0.0, "it lies in the middle".to_owned()),
            seen if seen == said => fit.add(2.0, format!("{} side", said.word())),
            seen => fit.add(-8.0, format!("side contradicts: it lies {}", seen.word())),
        }
    }
    fit_region(label, site, &mut fit);
    if let Some(said) = label.diameter_mm {
        let why = format!("{said} mm said, {:.1} mm drawn", site.longest_mm);
        fit.add(2.0 * near(said, site.longest_mm), why);
    }
    if let Some(said) = label.volume_cc {
        let why = format!("{said} cc said, {:.3} cc drawn", site.volume_cc);
        // A volume goes with the cube of a length: it may be off three times as much.
        fit.add(2.0 * near(said.cbrt(), site.volume_cc.cbrt()), why);
    }
    let digits = name.split(|c: char| !c.is_ascii_digit()).find_map(|d| d.parse::<u32>().ok());
    if let Some(number) = label.number.filter(|n| digits == Some(*n)) {
        fit.add(1.0, format!("number {number} in {name}"));
    }
    fit
}

fn fit_region(label: &ClinicalLabel, site: &LesionSite, fit: &mut Fit) {
    let drawn = |region: &BrainRegion| {
        let starts = |name: &String| region.structures().iter().any(|s| name.starts_with(s));
        site.within.iter().find(|name| starts(name))
    };
    if let Some(name) = label.regions.iter().find_map(drawn) {
        fit.add(3.0, format!("inside {name}"));
        return;
    }
    let Some(place) = site.place else { return };
    let best = label.regions.iter().map(|r| (belongs(place, *r), r));
    let Some((share, region)) = best.max_by(|a, b| a.0.total_cmp(&b.0)) else { return };
    let why = match share {
        s if s >= 1.0 => format!("{} by its place in the brain", region.word()),
        s if s > 0.0 => format!("beside the {} part of the brain", region.word()),
        _ => format!("not {} by its place in the brain", region.word()),
    };
    fit.add(2.0 * share, why);
}

/// 1 for equal lengths, about a third where one is half as long again as the other.
fn near(said: f64, drawn: f64) -> f64 {
    if said <= 0.0 || drawn <= 0.0 {
        return 0.0;
    }
    let off = (said / drawn).ln() / 1.5_f64.ln();
    (-off * off).exp()
}

#[cfg(test)]
mod tests {
    use super::*;
    use tidydose_case::clinical_label;

    fn site(side: SeenSide, place: Point, longest_mm: f64) -> LesionSite {
        let volume_cc = std::f64::consts::PI / 6.0 * longest_mm.powi(3) / 1000.0;
        LesionSite {
            side: Some(side),
            place: Some(place),
            within: Vec::new(),
            volume_cc,
            longest_mm,
        }
    }

    /// Landmarks in the coordinates of a stereotactic atlas (mm from the anterior commissure: to
    /// the right, to the front, up), from memory; the brain as in [`ranges`].
    fn landmark(right: f64, front: f64, up: f64) -> Point {
        [(70.0 - right) / 140.0, (front + 102.0) / 172.0, (up + 60.0) / 134.0]
    }

    #[test]
    fn landmarks_of_an_atlas_belong_to_their_region_most() {
        use BrainRegion as R;
        for (region, at) in [
            (R::Frontal, landmark(-40.0, 35.0, 25.0)), // middle frontal gyrus
            (R::Parietal, landmark(45.0, -50.0, 48.0)), // inferior parietal lobule
            (R::Temporal, landmark(-55.0, -15.0, -15.0)), // middle temporal gyrus
            (R::Occipital, landmark(12.0, -88.0, 5.0)), // calcarine cortex
            (R::Insula, landmark(38.0, 5.0, 2.0)),
            (R::Deep, landmark(-12.0, -18.0, 8.0)), // thalamus
            (R::Cerebellum, landmark(25.0, -65.0, -35.0)),
            (R::Brainstem, landmark(0.0, -26.0, -30.0)), // pons
            (R::Angle, landmark(-20.0, -35.0, -38.0)),
            (R::Sella, landmark(0.0, 5.0, -32.0)),
        ] {
            assert!((belongs(at, region) - 1.0).abs() < 1e-12, "{region:?} {at:?}");
        }
        assert!(belongs(landmark(0.0, -26.0, -30.0), R::Frontal) < 0.5);
        assert!(belongs(landmark(-40.0, 35.0, 25.0), R::Cerebellum) < 1e-12);
    }

    #[test]
    fn side_region_size_and_number_order_the_lesions() {
        let front = landmark(-40.0, 35.0, 25.0);
        let back = landmark(25.0, -65.0, -35.0);
        let left = site(SeenSide::Left, front, 11.0);
        let right = site(SeenSide::Right, back, 12.0);
        let score = |text: &str, site: &LesionSite, name: &str| {
            fit(&clinical_label(text), site, name).score
        };
        let text = "left frontal met 3, 12 mm";
        assert!(score(text, &left, "GTV1") > score(text, &right, "GTV3"), "a side outweighs");
        assert!(score(text, &left, "GTV3") > score(text, &left, "GTV1"));
        assert!(score("cerebellar", &right, "") > score("cerebellar", &left, ""));
        assert!(score("12 mm", &right, "") > score("12 mm", &left, ""));
        let volume = right.volume_cc;
        assert!(score(&format!("{volume} cc"), &right, "") > 1.99);
        assert!(fit(&clinical_label("the third"), &left, "GTV1").why.is_empty());
    }

    #[test]
    fn an_organ_that_holds_it_says_more_than_its_place() {
        let mut inside = site(SeenSide::Left, landmark(-40.0, 35.0, 25.0), 8.0);
        inside.within.push("Cerebellum".to_owned());
        let fit = fit(&clinical_label("cerebellar"), &inside, "GTV");
        assert_eq!((fit.score, fit.why), (3.0, vec!["inside Cerebellum".to_owned()]));
    }
}
