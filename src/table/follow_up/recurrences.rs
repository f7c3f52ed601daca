//! Table `recurrences`: each target drawn after a treatment in the dose that was given: shares
//! inside isodoses, distances, and the class by each published definition. Whether it is a recurrence
//! is said by people, in `lesions.csv`.

use std::borrow::Cow;

use strum::VariantNames;

use super::{Identity, bounded, patients, visible};
use crate::column::{Column, Sheet, borrowed, count};
use crate::structure_names::{shown_name, structure_id};
use crate::study::Study;
use crate::table::Table;
use tidydose_analyse::FollowUpPlace;
use tidydose_analyse::follow_up::{ISODOSES_PERCENT, SHIFTS_MM};
use tidydose_case::{Case, FrameLink};
use tidydose_geometry::units::Day;
use tidydose_metrics::follow_up::Bounded;
use tidydose_metrics::follow_up::pattern::{CLASSES, PATTERNS};
use tidydose_metrics::{Outcome, Status};
use tidydose_rt::Rigid;

pub(crate) const TABLE: Table = Table {
    name: "recurrences",
    grain: "one target drawn after a treatment, in the dose that was given",
    key: &["patient_id", "day", "lesion_id"],
    by_case: false,
    sheet,
};

const CALLED: &[&str] = &["yes", "no", "undecided"];
const SITES: &[&str] = &["local", "near", "distant", "undecided"];

struct Recurrence<'a> {
    case: &'a Case,
    patient_id: Option<String>,
    lesion_id: String,
    structure: Option<String>,
    called: &'static str,
    treated_lesion_id: Option<String>,
    day: Option<i64>,
    place: Option<FollowUpPlace>,
}

fn sheet<'a>(study: &Study<'a>) -> Sheet<'a> {
    let mut rows = Vec::new();
    for patient in patients(study) {
        for (_, measured) in &patient.follow_ups {
            for (id, drawn) in patient.drawn_in(measured.case) {
                let number = visible(drawn.entry.lesion);
                let places = measured.analysis.map_or(&[][..], |a| &a.places);
                let treated = match &drawn.identity {
                    Identity::Treated(id) => Some(id.clone()),
                    Identity::New(_) | Identity::Undecided => None,
                };
                rows.push(Recurrence {
                    case: measured.case,
                    patient_id: measured.patient().map(str::to_owned),
                    lesion_id: id.clone(),
                    structure: measured.name(number).map(|n| shown_name(n).to_owned()),
                    called: match drawn.entry.decision.and_then(|d| d.recurrence) {
                        Some(true) => "yes",
                        Some(false) => "no",
                        None => "undecided",
                    },
                    treated_lesion_id: treated,
                    day: drawn.day,
                    place: places.iter().find(|p| p.roi_number == number).cloned(),
                });
            }
        }
    }
    rows.sort_by(|a, b| {
        (&a.patient_id, a.day, &a.lesion_id).cmp(&(&b.patient_id, b.day, &b.lesion_id))
    });
    let mut columns = who();
    columns.extend(registration());
    columns.extend(shares());
    columns.extend(classes());
    columns.extend(distances());
    columns.extend(why());
    Sheet::new(columns, rows)
}

fn who<'a>() -> Vec<Column<Recurrence<'a>>> {
    vec![
        Column::text("patient_id", "patient, as a pseudonym", |r: &Recurrence<'a>| {
            r.patient_id.as_deref().map(Cow::Borrowed)
        }),
        Column::text("plan_id", "the structure set in which it was drawn", |r| {
            borrowed(r.case.id.as_str())
        }),
        Column::text("lesion_id", "the lesion at this time, as in table lesions", |r| {
            borrowed(&r.lesion_id)
        }),
        Column::text("structure", "name of the structure that is measured", |r| {
            r.structure.as_deref().map(Cow::Borrowed)
        }),
        Column::word(
            "recurrence",
            "whether lesions.csv calls it a recurrence; without that it may be what is left of a \
             treated lesion",
            CALLED,
            |r| borrowed(r.called),
        ),
        Column::text(
            "treated_lesion_id",
            "lesion_id of the treated lesion that it is, as lesions.csv says; missing otherwise",
            |r| r.treated_lesion_id.as_deref().map(Cow::Borrowed),
        ),
        Column::integer(
            "n_pieces",
            "",
            "pieces of it that do not hang together; shares and distances are of all of them, and a \
             patient counts once",
            |r| count(r.place.as_ref()?.pieces),
        ),
        Column::integer("day", "d", "day of the follow-up, from a zero hidden per patient", |r| {
            r.day
        }),
        Column::text(
            "treated_plan_id",
            "the plan whose dose lies under it: the latest treatment before that can be used",
            |r| borrowed(r.case.given()?.plan.as_str()),
        ),
        Column::real(
            "prescription_dose_gy",
            "Gy",
            "what 100 % means here: the dose prescribed to the nearest treated target, or what \
             prescriptions.csv says",
            |r| prescription_gy(r),
        ),
        Column::integer("fractions_planned", "", "fractions of that plan", |r| {
            r.case.given()?.fractions.map(i64::from)
        }),
    ]
}

fn prescription_gy(row: &Recurrence<'_>) -> Option<f64> {
    let number = row.place.as_ref()?.roi_number;
    row.case.prescriptions.iter().find(|p| p.roi_number == number).map(|p| p.dose.value())
}

/// How the structures came to lie in the dose: an assumption of every value of the row.
fn registration<'a>() -> Vec<Column<Recurrence<'a>>> {
    vec![
        Column::word(
            "frame_link",
            "how structures and dose came into one frame of reference: a rigid registration knows \
             nothing of swelling, surgery or shrinking in between",
            FrameLink::VARIANTS,
            |r: &Recurrence<'a>| borrowed(r.case.frames.link.word()),
        ),
        Column::real(
            "registration_moves_mm",
            "mm",
            "by how much the registration moves the corners of a cube of 200 mm at most; missing \
             without one",
            |r| {
                let motions = r.case.frames.motions.values();
                motions.map(|m| m.distance_mm(&Rigid::IDENTITY)).reduce(f64::max)
            },
        ),
        Column::integer(
            "registration_day",
            "d",
            "day on which the registration was made, from the same zero as day",
            |r| r.case.given()?.registration_day.map(|Day(day)| day),
        ),
        Column::real(
            "registration_doubt_mm",
            "mm",
            "how far off the registration may be, as stated by --registration-doubt: bounds of shares, \
             distances and dose at the centre hold it; missing where they hold none of it",
            |r| r.place.as_ref()?.registration_mm,
        ),
    ]
}

fn shares<'a>() -> Vec<Column<Recurrence<'a>>> {
    fn share<'r>(row: &'r Recurrence<'_>, at: usize) -> Option<&'r Outcome> {
        Some(&row.place.as_ref()?.inside.get(at)?.share)
    }
    fn shifted(row: &Recurrence<'_>, at: usize) -> Option<[f64; 2]> {
        let inside = row.place.as_ref()?.inside.get(at / SHIFTS_MM.len())?;
        Some(inside.shifted.get(at % SHIFTS_MM.len())?.percent)
    }
    let mut columns = Vec::new();
    for (at, isodose) in ISODOSES_PERCENT.iter().enumerate() {
        let meaning = format!("share of its volume that received {isodose} % of the prescription");
        let name = format!("inside_{isodose}");
        columns.extend(Column::bounded_at(
            [&name, "percent"],
            "%",
            with_bounds(&meaning),
            at,
            |r: &Recurrence<'a>, at| share(r, at).map_or([None; 3], bounded),
        ));
        for (i, by_mm) in SHIFTS_MM.iter().enumerate() {
            let at = at * SHIFTS_MM.len() + i;
            let shift = format!("when it is shifted by up to {by_mm} mm, in 14 directions");
            columns.push(Column::real_at(
                format!("{name}_{by_mm}mm_least_percent"),
                "%",
                format!("smallest share {shift}: {meaning}"),
                at,
                |r, at| shifted(r, at).map(|s| s[0]),
            ));
            columns.push(Column::real_at(
                format!("{name}_{by_mm}mm_most_percent"),
                "%",
                format!("largest share {shift}: {meaning}"),
                at,
                |r, at| shifted(r, at).map(|s| s[1]),
            ));
        }
    }
    columns
}

fn classes<'a>() -> Vec<Column<Recurrence<'a>>> {
    let class = |at: usize| {
        let definition = &PATTERNS[at];
        Column::word_at(
            format!("pattern_{}", definition.word),
            format!(
                "class by {}: {}; undecided where the bounds hold an edge, missing without a share",
                definition.reference, definition.classes
            ),
            CLASSES,
            at,
            |r: &Recurrence<'a>, at| {
                let definition = PATTERNS.get(at)?;
                let own = |i: &&tidydose_analyse::follow_up::ShareInside| {
                    (i.isodose_percent - definition.isodose_percent).abs() < 1e-9
                };
                let inside = r.place.as_ref()?.inside.iter().find(own)?;
                Bounded::of(&inside.share).map(|share| Cow::Borrowed(definition.class(share)))
            },
        )
    };
    let mut columns: Vec<_> = (0..PATTERNS.len()).map(class).collect();
    columns.push(Column::word(
        "site",
        "local where it touches the nearest treated target or its prescription isodose, near within \
         20 mm of that target, distant beyond (common practice; 20 mm is a usual margin of external \
         beams); undecided where bounds leave it open",
        SITES,
        |r| site(r.place.as_ref()?).map(Cow::Borrowed),
    ));
    columns
}

fn site(place: &FollowUpPlace) -> Option<&'static str> {
    let gap = Bounded::of(&place.gap_to_target)?;
    let isodose = Bounded::of(&place.gap_to_isodose);
    let nearest = isodose.map_or(gap, |i| Bounded {
        value: gap.value.min(i.value),
        low: gap.low.min(i.low),
        high: gap.high.min(i.high),
    });
    let reach = tidydose_analyse::follow_up::NEAR_MM;
    Some(match (nearest, gap) {
        (n, _) if n.high <= 0.0 => "local",
        (n, _) if n.low <= 0.0 => "undecided",
        (_, g) if g.high <= reach => "near",
        (_, g) if g.low > reach => "distant",
        _ => "undecided",
    })
}

struct PlaceWords {
    name: &'static str,
    unit: &'static str,
    meaning: &'static str,
    read: fn(&FollowUpPlace) -> &Outcome,
}

const PLACES: [PlaceWords; 6] = [
    PlaceWords {
        name: "centre_dose",
        unit: "Gy",
        meaning: "dose at its centre of mass",
        read: |p| &p.centre_dose,
    },
    PlaceWords {
        name: "centre_to_target",
        unit: "mm",
        meaning: "distance of its centre of mass from the surface of the nearest treated target; negative inside",
        read: |p| &p.centre_to_target,
    },
    PlaceWords {
        name: "gap_to_target",
        unit: "mm",
        meaning: "smallest distance between its surface and that of the nearest treated target; negative where they overlap",
        read: |p| &p.gap_to_target,
    },
    PlaceWords {
        name: "near_target",
        unit: "%",
        meaning: "share of its volume within 20 mm of the surface of that target, or inside it",
        read: |p| &p.near_target,
    },
    PlaceWords {
        name: "centre_to_isodose",
        unit: "mm",
        meaning: "distance of its centre of mass from the isodose of the prescription; negative inside",
        read: |p| &p.centre_to_isodose,
    },
    PlaceWords {
        name: "gap_to_isodose",
        unit: "mm",
        meaning: "smallest distance of its surface from that isodose; negative where it reaches inside",
        read: |p| &p.gap_to_isodose,
    },
];

fn distances<'a>() -> Vec<Column<Recurrence<'a>>> {
    fn outcome<'r>(row: &'r Recurrence<'_>, at: usize) -> Option<&'r Outcome> {
        Some((PLACES.get(at)?.read)(row.place.as_ref()?))
    }
    let mut columns = vec![Column::text(
        "nearest_target_id",
        "structure_id of the nearest treated target; missing where none has a volume",
        |r: &Recurrence<'a>| {
            let plan = &r.case.given()?.plan;
            let number = r.place.as_ref()?.nearest_target?;
            Some(Cow::Owned(structure_id(&Case::named(plan.clone()), number)))
        },
    )];
    for (at, PlaceWords { name, unit, meaning, .. }) in PLACES.iter().enumerate() {
        let ending = if *unit == "%" { "percent".to_owned() } else { unit.to_lowercase() };
        columns.extend(Column::bounded_at(
            [name, &ending],
            unit,
            with_bounds(meaning),
            at,
            |r: &Recurrence<'a>, at| outcome(r, at).map_or([None; 3], bounded),
        ));
    }
    columns
}

/// What a number and its bounds mean.
fn with_bounds(meaning: &str) -> [String; 3] {
    let side = |side: &str| format!("{side} numerical bound: {meaning}");
    [meaning.to_owned(), side("lower"), side("upper")]
}

/// The first thing that is missing.
fn state(row: &Recurrence<'_>) -> (Status, Cow<'static, str>) {
    if let Some((_, reason)) = &row.case.left_out {
        return (Status::Unlinked, Cow::Owned(reason.clone()));
    }
    let Some(place) = &row.place else {
        let reason = "no volume was drawn, or the dose lies in several grids";
        return (Status::NotApplicable, Cow::Borrowed(reason));
    };
    let Some(first) = place.inside.first() else {
        let reason = "no dose is known to have been prescribed to a treated target; state it in \
                      prescriptions.csv";
        return (Status::NotApplicable, Cow::Borrowed(reason));
    };
    (first.share.status, Cow::Owned(first.share.reason.clone()))
}

fn why<'a>() -> Vec<Column<Recurrence<'a>>> {
    vec![
        Column::word(
            "status",
            "why there is or is not a share inside isodoses",
            Status::VARIANTS,
            |r: &Recurrence<'a>| borrowed(state(r).0.word()),
        ),
        Column::text("reason", "the same in words; missing where it is ok", |r| {
            Some(state(r).1).filter(|reason| !reason.is_empty())
        }),
    ]
}
