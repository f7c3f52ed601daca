//! One picture of table pictures as SVG: outlines with their names, isodose lines with their doses and
//! the point of interest, with letters of the patient's directions and a scale bar. Lines differ by
//! dashes and width by rank; the dose of a limit by a line of its own.

use std::collections::BTreeMap;

use maud::{Markup, html};

use super::backdrop::Layer;
use super::chart::at;
use super::labels::{self, Label, PlacedLabel};
use super::number::{position, shown};
use tidydose_table::read::{
    CellError, LineKind, Orientation, PictureRow, Role, Tables, View, rows_where,
};

/// Half the side of a picture on the page.
const HALF: f64 = 150.0;
/// Outer width of a picture.
pub(super) const WIDTH: f64 = HALF * 2.0 + 40.0;
/// Outer height, with the scale bar.
pub(super) const HEIGHT: f64 = WIDTH + 24.0;
/// The least and the greatest half side in the patient, in mm.
const REACH_MM: (f64, f64) = (12.0, 60.0);

/// Isodose lines closer than this share of their dose would be one line on the page.
const LEVELS_APART: f64 = 0.15;
/// More lines than this cannot be told apart.
const MOST_LEVELS: usize = 5;
/// Sides of a line that a word may stand at.
const DIRECTIONS: usize = 12;

/// A line of a picture.
#[derive(Debug, Clone)]
struct Line<'t> {
    row: PictureRow<'t>,
    points: Vec<(f64, f64)>,
}

/// A picture of one structure.
#[derive(Debug, Clone)]
pub(super) struct Picture<'t> {
    pub(super) plan_id: &'t str,
    pub(super) structure_id: &'t str,
    pub(super) structure: &'t str,
    centred_on: View,
    orientation: Orientation,
    pub(super) as_drawn: bool,
    directions: &'t str,
    pub(super) plane_mm: f64,
    pub(super) off_plane_mm: f64,
    lines: Vec<Line<'t>>,
}

/// The pictures of the wanted plans, in the order of the table.
pub(super) fn pictures(
    tables: &Tables,
    wanted: impl Fn(&str) -> bool,
) -> Result<Vec<Picture<'_>>, CellError> {
    let mut found: Vec<Picture<'_>> = Vec::new();
    for row in rows_where::<PictureRow<'_>>(tables, "plan_id", wanted)? {
        let same = |p: &Picture<'_>| {
            (p.structure_id, p.orientation) == (row.structure_id, row.orientation)
        };
        if !found.last().is_some_and(same) {
            found.push(Picture {
                plan_id: row.plan_id,
                structure_id: row.structure_id,
                structure: row.structure,
                centred_on: row.centred_on,
                orientation: row.orientation,
                as_drawn: row.as_drawn,
                directions: row.directions,
                plane_mm: row.plane_mm.unwrap_or_default(),
                off_plane_mm: row.off_plane_mm.unwrap_or_default(),
                lines: Vec::new(),
            });
        }
        if let Some(picture) = found.last_mut() {
            picture.lines.push(Line { points: pairs(row.points), row });
        }
    }
    Ok(found)
}

fn pairs(text: &str) -> Vec<(f64, f64)> {
    let numbers: Vec<f64> = text.split(' ').filter_map(|n| n.parse().ok()).collect();
    numbers.chunks_exact(2).filter_map(|p| Some((*p.first()?, *p.get(1)?))).collect()
}

/// The opposite of a direction of the patient.
pub(super) const fn opposite(letter: char) -> char {
    match letter {
        'L' => 'R',
        'R' => 'L',
        'A' => 'P',
        'P' => 'A',
        'H' => 'F',
        'F' => 'H',
        other => other,
    }
}

pub(super) const fn direction_words(letter: char) -> &'static str {
    match letter {
        'L' => "left",
        'R' => "right",
        'A' => "front",
        'P' => "back",
        'H' => "head",
        'F' => "feet",
        _ => "not stated",
    }
}

/// An isodose that is drawn so that it can be told from the others.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Marked {
    pub dose_gy: f64,
    /// Whose dose it is, in a word.
    pub of: &'static str,
}

impl Marked {
    pub(super) const fn limit(dose_gy: f64) -> Self {
        Self { dose_gy, of: "limit" }
    }

    pub(super) const fn prescription(dose_gy: f64) -> Self {
        Self { dose_gy, of: "prescription" }
    }
}

fn is_marked(marked: Option<Marked>, dose_gy: f64) -> bool {
    marked.is_some_and(|m| m.dose_gy == dose_gy)
}

impl Picture<'_> {
    /// Half the side of what is shown, in mm: the isodose lines and the structure itself.
    pub(super) fn reach(&self) -> f64 {
        let own = self
            .lines
            .iter()
            .filter(|l| l.row.kind == LineKind::Isodose || l.row.drawn == self.structure);
        let far = own.flat_map(|l| &l.points).map(|(x, y)| x.abs().max(y.abs()));
        (far.fold(0.0, f64::max) * 1.1).clamp(REACH_MM.0, REACH_MM.1)
    }

    /// Whether it shows an axial plane with outlines as they were drawn, the patient's left to the
    /// right.
    pub(super) fn is_axial_as_drawn(&self) -> bool {
        self.orientation == Orientation::Axial && self.as_drawn && self.directions == "LP"
    }

    /// What lies inside of the head for certain: the brain with its parts, and targets.
    pub(super) fn inside_of_head(&self) -> Outlines<'_> {
        const PARTS: [&str; 3] = ["Brain", "Brainstem", "Cerebellum"];
        let mut rings: BTreeMap<&str, Vec<&[(f64, f64)]>> = BTreeMap::new();
        for line in self.lines.iter().filter(|l| l.row.kind == LineKind::Contour) {
            if PARTS.contains(&line.row.drawn) || line.is_target() {
                rings.entry(line.row.drawn).or_default().push(&line.points);
            }
        }
        Outlines(rings)
    }

    /// Whether the structure is a target.
    pub(super) fn is_of_target(&self) -> bool {
        self.lines.iter().any(|l| {
            l.row.kind == LineKind::Contour && l.row.drawn == self.structure && l.is_target()
        })
    }

    /// Doses of the isodose lines that are drawn, highest first: the marked one, and of the others
    /// those that are not close to one that is drawn already.
    fn doses(&self, marked: Option<Marked>) -> Vec<f64> {
        let isodoses = self.lines.iter().filter(|l| l.row.kind == LineKind::Isodose);
        let mut there: Vec<f64> = isodoses.filter_map(|l| l.row.dose_gy).collect();
        there.sort_by(|a, b| b.total_cmp(a));
        there.dedup();
        let mut doses: Vec<f64> = there.iter().copied().filter(|d| is_marked(marked, *d)).collect();
        for dose in there {
            let apart = doses.iter().all(|d| (dose / d - 1.0).abs() > LEVELS_APART);
            if apart && doses.len() < MOST_LEVELS {
                doses.push(dose);
            }
        }
        doses.sort_by(|a, b| b.total_cmp(a));
        doses
    }

    /// The picture with its caption; `id` is unique on the page. The marked isodose is drawn as
    /// such where the dose reaches it.
    pub(super) fn drawn(&self, id: &str, marked: Option<Marked>, layer: Option<&Layer>) -> Markup {
        let behind = layer.map(|l| format!(" {}", l.words)).unwrap_or_default();
        let words = self.words(marked) + &behind;
        html! {
            figure.picture {
                svg viewBox={ "0 0 " (WIDTH) " " (HEIGHT) } role="img"
                    aria-labelledby={ (id) "-t " (id) "-d" } {
                    title id={ (id) "-t" } { "Picture of " (self.structure) ", " (self.plane()) }
                    desc id={ (id) "-d" } { (words) }
                    (self.canvas(marked, layer))
                }
                figcaption { (self.caption(marked)) (behind) }
            }
        }
    }

    /// Lines, letters and scale, [`WIDTH`] wide and [`HEIGHT`] high.
    pub(super) fn canvas(&self, marked: Option<Marked>, layer: Option<&Layer>) -> Markup {
        let scale = HALF / self.reach();
        let doses = self.doses(marked);
        let centre = WIDTH / 2.0;
        let (side, inner) = (WIDTH, HALF * 2.0);
        let right = self.directions.chars().next().unwrap_or('?');
        let down = self.directions.chars().nth(1).unwrap_or('?');
        let bar = at(10.0 * scale);
        let look = Look { scale, doses: &doses, marked, structure: self.structure };
        html! {
            svg.over[layer.is_some()] x="20" y="20" width=(inner) height=(inner)
                viewBox={ (-HALF) " " (-HALF) " " (inner) " " (inner) } {
                rect.ground x=(-HALF) y=(-HALF) width=(inner) height=(inner) {}
                @if let Some(layer) = layer {
                    image href=(layer.address) x=(-HALF) y=(-HALF) width=(inner) height=(inner) {}
                }
                @for line in &self.lines { (line.drawn(&look)) }
                @for label in self.labels(&look) {
                    text class=(label.class) x=(at(label.at[0])) y=(at(label.at[1]))
                        text-anchor="middle" { (label.text) }
                }
            }
            text.letter x=(centre) y="15" text-anchor="middle" { (opposite(down)) }
            text.letter x=(centre) y=(side - 5.0) text-anchor="middle" { (down) }
            text.letter x="5" y=(centre + 5.0) { (opposite(right)) }
            text.letter x=(side - 5.0) y=(centre + 5.0) text-anchor="end" { (right) }
            path.scale d={ "M20 " (side + 8.0) "v8m0 -4h" (bar) "m0 -4v8" } {}
            text.tick x=(26.0 + 10.0 * scale) y=(side + 16.0) { "10 mm" }
            text.tick x=(side - 20.0) y=(side + 16.0) text-anchor="end" { (self.plane()) }
        }
    }

    /// Doses first, the marked one before them, then the names of the structure itself, of targets and of
    /// other structures.
    fn labels(&self, look: &Look<'_>) -> Vec<PlacedLabel> {
        let mut wanted = Vec::new();
        for dose in look.marked.map(|m| m.dose_gy).into_iter().chain(look.doses.iter().copied()) {
            let is_it =
                |l: &&Line<'_>| l.row.kind == LineKind::Isodose && l.row.dose_gy == Some(dose);
            let longest = self.lines.iter().filter(is_it).max_by_key(|l| l.points.len());
            let Some(line) = longest else { continue };
            if wanted.iter().any(|l: &Label| l.text == look.dose_words(dose)) {
                continue;
            }
            let class = if is_marked(look.marked, dose) { "dose limit" } else { "dose" };
            let places = line.places(look.scale, 0.0);
            wanted.push(Label { text: look.dose_words(dose), class, places });
        }
        let rank = |l: &Line<'_>| (l.row.drawn != self.structure, !l.is_target());
        let mut outlines: Vec<&Line<'_>> =
            self.lines.iter().filter(|l| l.row.kind == LineKind::Contour).collect();
        outlines.sort_by_key(|l| (rank(l), l.row.drawn));
        outlines.dedup_by_key(|l| l.row.drawn);
        for line in outlines {
            let text = line.row.drawn.to_owned();
            let away = labels::size(&text).map(|s| s / 2.0);
            let places = line.places(look.scale, away[1] + 2.0);
            // Beside an outline a word needs room for half its width, above it half its height.
            let moved = |p: [f64; 2]| [p[0] + p[0].signum() * (away[0] - away[1]).max(0.0), p[1]];
            let places = places.iter().copied().chain(places.iter().map(|p| moved(*p))).collect();
            wanted.push(Label { text, class: "outline-name", places });
        }
        labels::place(wanted, HALF - 2.0, 8.0)
    }

    /// How the plane lies, in words.
    fn plane(&self) -> &'static str {
        match self.orientation {
            Orientation::Axial => "axial plane",
            Orientation::Coronal => "coronal plane",
            Orientation::Sagittal => "sagittal plane",
        }
    }

    /// What the picture shows, so that it need not be seen: its caption, and where its edges lie.
    pub(super) fn words(&self, marked: Option<Marked>) -> String {
        let side = |n| self.directions.chars().nth(n).map_or("not stated", direction_words);
        let caption = self.caption(marked);
        format!("{caption} Right edge: patient's {}; lower edge: {}.", side(0), side(1))
    }

    /// What the lines are.
    fn caption(&self, marked: Option<Marked>) -> String {
        let doses = self.doses(marked);
        let about = if self.centred_on == View::HottestPoint { "hottest point" } else { "middle" };
        let (name, plane, at) = (self.structure, self.plane(), position(self.plane_mm));
        let mut text = if self.as_drawn {
            let off = shown(self.off_plane_mm);
            format!(
                "{name}: {plane} at {at} mm, the contour plane nearest to its {about} ({off} mm off)."
            )
        } else {
            format!("{name}: {plane} at {at} mm, through its {about}; slices show as steps.")
        };
        if let Some(dose) =
            self.lines.iter().find(|l| l.row.kind == LineKind::Mark).and_then(|l| l.row.dose_gy)
        {
            text.push_str(&format!(" Dose at the cross: {} Gy.", shown(dose)));
        }
        if let Some(Marked { dose_gy, of }) = marked {
            text.push_str(&if doses.contains(&dose_gy) {
                format!(" The line of long and short dashes is the dose of the {of}, {dose_gy} Gy.")
            } else {
                format!(" The dose of the {of}, {dose_gy} Gy, is not reached in this plane.")
            });
        }
        let others: Vec<String> =
            doses.iter().filter(|d| !is_marked(marked, **d)).map(|d| format!("{d}")).collect();
        if others.is_empty() {
            text.push_str(" No other isodose line in reach.");
        } else {
            let only = if others.len() == 1 {
                "Isodose line"
            } else {
                "Isodose lines, highest and thickest first"
            };
            text.push_str(&format!(" {only}: {} Gy.", others.join(", ")));
        }
        let reach = self.reach();
        let in_sight = |l: &&Line<'_>| {
            let near = |(x, y): &(f64, f64)| x.abs().max(y.abs()) <= reach;
            l.row.kind == LineKind::Contour && l.points.iter().any(near)
        };
        let mut drawn: Vec<&str> =
            self.lines.iter().filter(in_sight).map(|l| l.row.drawn).collect();
        drawn.sort_unstable();
        drawn.dedup();
        text.push_str(&format!(" Contours (targets shaded): {}.", drawn.join(", ")));
        text
    }
}

/// Closed outlines by structure.
pub(super) struct Outlines<'p>(BTreeMap<&'p str, Vec<&'p [(f64, f64)]>>);

impl Outlines<'_> {
    /// Whether a point lies inside of a structure: within an odd number of its rings.
    pub(super) fn hold(&self, [x, y]: [f64; 2]) -> bool {
        self.0.values().any(|rings| {
            let edges = rings.iter().flat_map(|ring| ring.windows(2));
            let crossed = edges.filter(|edge| {
                let [(ax, ay), (bx, by)] = [edge[0], edge[1]];
                (ay > y) != (by > y) && x < ax + (y - ay) * (bx - ax) / (by - ay)
            });
            crossed.count() % 2 == 1
        })
    }
}

/// How the lines of a picture are drawn.
struct Look<'a> {
    /// Units of the picture for a millimetre.
    scale: f64,
    /// Doses of the isodose lines, highest first.
    doses: &'a [f64],
    /// Of them the one that is marked.
    marked: Option<Marked>,
    /// The structure that the picture is about.
    structure: &'a str,
}

impl Look<'_> {
    fn dose_words(&self, dose_gy: f64) -> String {
        match self.marked.filter(|m| m.dose_gy == dose_gy) {
            Some(marked) => format!("{} {dose_gy}", marked.of),
            None => format!("{dose_gy}"),
        }
    }
}

impl Line<'_> {
    /// Places on a line, or so far outside of it, farthest points of each direction first: where
    /// lines lie close, each has another side free.
    fn places(&self, scale: f64, away: f64) -> Vec<[f64; 2]> {
        let mut places = Vec::with_capacity(DIRECTIONS);
        for n in 0..DIRECTIONS {
            #[expect(clippy::cast_precision_loss, reason = "a dozen directions")]
            let angle = n as f64 * std::f64::consts::TAU / DIRECTIONS as f64;
            let (side, up) = angle.sin_cos();
            let outward = |(x, y): &(f64, f64)| x * side - y * up;
            let inside = |(x, y): &&(f64, f64)| (x.abs().max(y.abs())) * scale < HALF;
            let points = self.points.iter().filter(inside);
            if let Some((x, y)) = points.max_by(|a, b| outward(a).total_cmp(&outward(b))) {
                places.push([x * scale + away * side, y * scale - away * up]);
            }
        }
        places
    }

    fn is_target(&self) -> bool {
        self.row.drawn_role.is_some_and(Role::is_target)
    }

    fn drawn(&self, look: &Look<'_>) -> Markup {
        let scale = look.scale;
        let place = |(x, y): &(f64, f64)| format!("{} {}", at(x * scale), at(y * scale));
        let points = self.points.iter().map(place).collect::<Vec<_>>().join(" ");
        match self.row.kind {
            LineKind::Contour => {
                let own = if self.row.drawn == look.structure { " own" } else { "" };
                let class = format!("{}{own}", if self.is_target() { "target" } else { "organ" });
                html! { polygon class=(class) points=(points) { title { (self.row.drawn) } } }
            }
            LineKind::Isodose => {
                let dose = self.row.dose_gy.unwrap_or_default();
                let Some(rank) = look.doses.iter().position(|o| *o == dose) else {
                    return html! {};
                };
                let class = if is_marked(look.marked, dose) {
                    "isodose limit".to_owned()
                } else {
                    format!("isodose i{}", rank.min(5))
                };
                html! { polyline class=(class) points=(points) { title { (dose) " Gy" } } }
            }
            LineKind::Mark => html! { @if let Some((x, y)) = self.points.first() {
                path.cross
                    d={ "M" (at(x * scale - 6.0)) " " (at(y * scale)) "h12m-6 -6v12" } {}
            } },
        }
    }
}

#[cfg(test)]
impl Picture<'static> {
    /// An axial picture of a brainstem, with these outlines as squares of half a side about a point.
    pub(super) fn example(squares: &[(&'static str, Role, f64, [f64; 2])]) -> Self {
        let line = |(drawn, role, half, [x, y]): &(&'static str, Role, f64, [f64; 2])| Line {
            points: [[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0], [-1.0, -1.0]]
                .map(|[u, v]| (x + half * u, y + half * v))
                .to_vec(),
            row: PictureRow {
                plan_id: "p",
                structure_id: "p/1",
                structure: "Brainstem",
                centred_on: View::HottestPoint,
                orientation: Orientation::Axial,
                as_drawn: true,
                directions: "LP",
                plane_mm: Some(5.0),
                off_plane_mm: Some(0.0),
                kind: LineKind::Contour,
                drawn,
                drawn_role: Some(*role),
                dose_gy: None,
                points: "",
            },
        };
        Self {
            plan_id: "p",
            structure_id: "p/1",
            structure: "Brainstem",
            centred_on: View::HottestPoint,
            orientation: Orientation::Axial,
            as_drawn: true,
            directions: "LP",
            plane_mm: 5.0,
            off_plane_mm: 0.0,
            lines: squares.iter().map(line).collect(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_point_lies_inside_of_an_odd_number_of_rings() {
        let square = |h: f64| vec![(-h, -h), (h, -h), (h, h), (-h, h), (-h, -h)];
        let (outer, inner) = (square(4.0), square(2.0));
        let hollow = Outlines(BTreeMap::from([("Brain", vec![&outer[..], &inner[..]])]));
        assert!(hollow.hold([3.0, 0.0]) && !hollow.hold([1.0, 0.0]) && !hollow.hold([5.0, 0.0]));
        let filled =
            BTreeMap::from([("Brain", vec![&outer[..], &inner[..]]), ("GTV", vec![&inner[..]])]);
        assert!(Outlines(filled).hold([1.0, 0.0]), "a target in the hole");
    }

    #[test]
    fn points_come_in_pairs_and_directions_have_opposites() {
        assert_eq!(pairs("0 1.26 -3 4 7"), [(0.0, 1.26), (-3.0, 4.0)]);
        assert_eq!(pairs(""), []);
        let all: String = "LRAPHF?".chars().map(opposite).collect();
        assert_eq!(all, "RLPAFH?");
    }
}
