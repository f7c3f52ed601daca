//! One picture of table pictures as SVG: contours, isodose lines and the point of interest, with
//! letters of the patient's directions and a scale bar. Lines differ by dashes and width by rank.

use maud::{Markup, html};

use super::chart::at;
use super::number::{position, shown};
use tidydose_table::read::{CellError, LineKind, PictureRow, Role, Tables, View, rows_where};

/// Half the side of a picture on the page.
const HALF: f64 = 150.0;
/// Outer width of a picture.
pub(super) const WIDTH: f64 = HALF * 2.0 + 40.0;
/// Outer height, with the scale bar.
pub(super) const HEIGHT: f64 = WIDTH + 24.0;
/// The least and the greatest half side in the patient, in mm.
const REACH_MM: (f64, f64) = (12.0, 60.0);

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
    directions: &'t str,
    plane_mm: f64,
    off_plane_mm: f64,
    lines: Vec<Line<'t>>,
}

/// The pictures of the wanted plans, in the order of the table.
pub(super) fn pictures(
    tables: &Tables,
    wanted: impl Fn(&str) -> bool,
) -> Result<Vec<Picture<'_>>, CellError> {
    let mut found: Vec<Picture<'_>> = Vec::new();
    for row in rows_where::<PictureRow<'_>>(tables, "plan_id", wanted)? {
        if found.last().is_none_or(|p| p.structure_id != row.structure_id) {
            found.push(Picture {
                plan_id: row.plan_id,
                structure_id: row.structure_id,
                structure: row.structure,
                centred_on: row.centred_on,
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

impl Picture<'_> {
    /// Half the side of what is shown, in mm: the isodose lines and the structure itself.
    fn reach(&self) -> f64 {
        let own = self
            .lines
            .iter()
            .filter(|l| l.row.kind == LineKind::Isodose || l.row.drawn == self.structure);
        let far = own.flat_map(|l| &l.points).map(|(x, y)| x.abs().max(y.abs()));
        (far.fold(0.0, f64::max) * 1.1).clamp(REACH_MM.0, REACH_MM.1)
    }

    /// Whether the structure is a target.
    pub(super) fn is_of_target(&self) -> bool {
        self.lines.iter().any(|l| {
            l.row.kind == LineKind::Contour && l.row.drawn == self.structure && l.is_target()
        })
    }

    /// Doses of the isodose lines, highest first.
    fn doses(&self) -> Vec<f64> {
        let isodoses = self.lines.iter().filter(|l| l.row.kind == LineKind::Isodose);
        let mut doses: Vec<f64> = isodoses.filter_map(|l| l.row.dose_gy).collect();
        doses.sort_by(|a, b| b.total_cmp(a));
        doses.dedup();
        doses
    }

    /// The picture with its caption; `id` is unique on the page.
    pub(super) fn drawn(&self, id: &str) -> Markup {
        let words = self.words();
        html! {
            figure.picture {
                svg viewBox={ "0 0 " (WIDTH) " " (HEIGHT) } role="img"
                    aria-labelledby={ (id) "-t " (id) "-d" } {
                    title id={ (id) "-t" } { "Picture of " (self.structure) }
                    desc id={ (id) "-d" } { (words) }
                    (self.canvas())
                }
                figcaption { (words) }
            }
        }
    }

    /// Lines, letters and scale, [`WIDTH`] wide and [`HEIGHT`] high.
    pub(super) fn canvas(&self) -> Markup {
        let scale = HALF / self.reach();
        let doses = self.doses();
        let centre = WIDTH / 2.0;
        let (side, inner) = (WIDTH, HALF * 2.0);
        let right = self.directions.chars().next().unwrap_or('?');
        let down = self.directions.chars().nth(1).unwrap_or('?');
        let bar = at(10.0 * scale);
        html! {
            svg x="20" y="20" width=(inner) height=(inner)
                viewBox={ (-HALF) " " (-HALF) " " (inner) " " (inner) } {
                rect.ground x=(-HALF) y=(-HALF) width=(inner) height=(inner) {}
                @for line in &self.lines { (line.drawn_at(scale, &doses, self.structure)) }
            }
            text.letter x=(centre) y="15" text-anchor="middle" { (opposite(down)) }
            text.letter x=(centre) y=(side - 5.0) text-anchor="middle" { (down) }
            text.letter x="5" y=(centre + 5.0) { (opposite(right)) }
            text.letter x=(side - 5.0) y=(centre + 5.0) text-anchor="end" { (right) }
            path.scale d={ "M20 " (side + 8.0) "v8m0 -4h" (bar) "m0 -4v8" } {}
            text.tick x=(26.0 + 10.0 * scale) y=(side + 16.0) { "10 mm" }
        }
    }

    /// What the picture shows, so that it need not be seen.
    pub(super) fn words(&self) -> String {
        let doses = self.doses();
        let about = if self.centred_on == View::HottestPoint { "hottest point" } else { "middle" };
        let mut text = format!(
            "{}: contour plane at {} mm, nearest to its {about} ({} mm off).",
            self.structure,
            position(self.plane_mm),
            shown(self.off_plane_mm)
        );
        if let Some(dose) =
            self.lines.iter().find(|l| l.row.kind == LineKind::Mark).and_then(|l| l.row.dose_gy)
        {
            text.push_str(&format!(" Dose at the cross: {} Gy.", shown(dose)));
        }
        if doses.is_empty() {
            text.push_str(" No isodose line in reach.");
        } else {
            let list: Vec<String> = doses.iter().map(|d| format!("{d}")).collect();
            let only = if doses.len() == 1 {
                "Isodose line"
            } else {
                "Isodose lines, highest and thickest first"
            };
            text.push_str(&format!(" {only}: {} Gy.", list.join(", ")));
        }
        let mut drawn: Vec<&str> = self
            .lines
            .iter()
            .filter(|l| l.row.kind == LineKind::Contour)
            .map(|l| l.row.drawn)
            .collect();
        drawn.sort_unstable();
        drawn.dedup();
        text.push_str(&format!(" Contours (targets shaded): {}.", drawn.join(", ")));
        let side = |n| self.directions.chars().nth(n).map_or("not stated", direction_words);
        text.push_str(&format!(" Right edge: patient's {}; lower edge: {}.", side(0), side(1)));
        text
    }
}

impl Line<'_> {
    /// Where the dose of a line is written: each rank on another side of the picture, since beside a
    /// steep target the lines lie so close that their numbers would cover each other.
    fn label_place(&self, rank: usize) -> Option<(f64, f64)> {
        let outward = |(x, y): &(f64, f64)| match rank % 4 {
            0 => -y,
            1 => *x,
            2 => *y,
            _ => -x,
        };
        self.points.iter().copied().max_by(|a, b| outward(a).total_cmp(&outward(b)))
    }

    fn is_target(&self) -> bool {
        self.row.drawn_role.is_some_and(Role::is_target)
    }

    fn drawn_at(&self, scale: f64, doses: &[f64], structure: &str) -> Markup {
        let place = |(x, y): &(f64, f64)| format!("{} {}", at(x * scale), at(y * scale));
        let points = self.points.iter().map(place).collect::<Vec<_>>().join(" ");
        match self.row.kind {
            LineKind::Contour => {
                let own = if self.row.drawn == structure { " own" } else { "" };
                let class = format!("{}{own}", if self.is_target() { "target" } else { "organ" });
                html! { polygon class=(class) points=(points) { title { (self.row.drawn) } } }
            }
            LineKind::Isodose => {
                let rank = self.row.dose_gy.and_then(|d| doses.iter().position(|o| *o == d));
                let class = format!("isodose i{}", rank.unwrap_or_default().min(5));
                let dose = self.row.dose_gy.map(|d| format!("{d}")).unwrap_or_default();
                let labelled = self.label_place(rank.unwrap_or_default());
                let inside = |(x, y): &(f64, f64)| is_inside(x * scale, y * scale);
                html! {
                    polyline class=(class) points=(points) { title { (dose) " Gy" } }
                    @if let Some((x, y)) = labelled.filter(inside) {
                        text.dose x=(at(x * scale)) y=(at(y * scale + 3.5)) text-anchor="middle" {
                            (dose)
                        }
                    }
                }
            }
            LineKind::Mark => html! { @if let Some((x, y)) = self.points.first() {
                path.cross
                    d={ "M" (at(x * scale - 6.0)) " " (at(y * scale)) "h12m-6 -6v12" } {}
            } },
        }
    }
}

/// Whether there is room for a number at a place of the picture.
fn is_inside(x: f64, y: f64) -> bool {
    x.abs().max(y.abs()) < HALF - 8.0
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn points_come_in_pairs_and_directions_have_opposites() {
        assert_eq!(pairs("0 1.26 -3 4 7"), [(0.0, 1.26), (-3.0, 4.0)]);
        assert_eq!(pairs(""), []);
        let all: String = "LRAPHF?".chars().map(opposite).collect();
        assert_eq!(all, "RLPAFH?");
    }
}
