//! Table `responses`: what the images of a follow-up say about the treated lesions of a course, by
//! each named criterion. The imaging part only.

use std::borrow::Cow;

use super::{Drawn, Identity, Patient, Sizes, patients};
use crate::column::{Column, Sheet, borrowed, count};
use crate::study::Study;
use crate::table::Table;
use tidydose_metrics::follow_up::response::{
    CAUTION, Compared, LEAST_VOLUME_CC, MOST_LESIONS, RESPONSES, RESPONSES_BY, Readings,
    ResponseDefinition,
};
use tidydose_metrics::follow_up::{Bounded, UNDECIDED};

pub(crate) const TABLE: Table = Table {
    name: "responses",
    grain: "one follow-up of a treated plan by one criterion",
    key: &["patient_id", "treated_plan_id", "day", "plan_id", "criterion"],
    by_case: false,
    sheet,
};

struct Response {
    patient_id: String,
    treated_plan_id: String,
    plan_id: String,
    day: i64,
    days_since: i64,
    definition: &'static ResponseDefinition,
    used: usize,
    new: usize,
    sums: Option<Readings>,
    word: &'static str,
    reason: Option<String>,
}

fn sheet<'a>(study: &Study<'a>) -> Sheet<'a> {
    let mut rows = Vec::new();
    for patient in patients(study) {
        for (treated_day, plan) in &patient.plans {
            for (day, follow_up) in patient.follow_ups.iter().filter(|(d, _)| d > treated_day) {
                let at =
                    FollowUpOf { patient: &patient, plan, treated_day: *treated_day, day: *day };
                if !at.is_followed_by(follow_up.case) {
                    continue;
                }
                for definition in RESPONSES_BY {
                    rows.push(at.response(follow_up.case, definition));
                }
            }
        }
    }
    rows.sort_by(|a: &Response, b| {
        let key = |r: &Response| {
            (r.patient_id.clone(), r.treated_plan_id.clone(), r.day, r.plan_id.clone())
        };
        (key(a), a.definition.word).cmp(&(key(b), b.definition.word))
    });
    let mut columns = who();
    columns.extend(sums());
    columns.extend(said());
    Sheet::new(columns, rows)
}

/// A plan and a day after it.
struct FollowUpOf<'p, 'a> {
    patient: &'p Patient<'a>,
    plan: &'p tidydose_case::Case,
    treated_day: i64,
    day: i64,
}

impl<'a> FollowUpOf<'_, 'a> {
    /// Whether the follow-up is one of this plan: its dose lies under it, a lesion of the plan was
    /// drawn again in it, or it is the latest plan before.
    fn is_followed_by(&self, follow_up: &tidydose_case::Case) -> bool {
        let drawn_again =
            self.patient.drawn_in(follow_up).any(|(_, drawn)| match &drawn.identity {
                Identity::Treated(id) => {
                    let treated = self.patient.drawn.get(id);
                    treated.is_some_and(|t| t.entry.measured.case.id == self.plan.id)
                }
                Identity::New(_) | Identity::Undecided => false,
            });
        let own = match follow_up.given() {
            Some(given) => given.plan == self.plan.id,
            None => {
                let latest = self.patient.plans.iter().rfind(|(day, _)| *day < self.day);
                latest.is_some_and(|(_, plan)| plan.id == self.plan.id)
            }
        };
        drawn_again || own
    }

    /// The treated lesions that are added up: the largest that the criterion measures.
    fn lesions(&self, of: Compared) -> Vec<&Drawn<'a>> {
        let mut list: Vec<(f64, &Drawn<'a>)> = Vec::new();
        for (_, drawn) in self.patient.drawn_in(self.plan) {
            let Some(size) = size(&drawn.sizes, of) else { continue };
            let counts = match of {
                Compared::SumOfDiameters => drawn.sizes.is_measurable() == Some(true),
                Compared::SumOfVolumes => size.value >= LEAST_VOLUME_CC,
            };
            if counts {
                list.push((size.value, drawn));
            }
        }
        list.sort_by(|a, b| b.0.total_cmp(&a.0).then_with(|| a.1.entry.id.cmp(&b.1.entry.id)));
        list.truncate(MOST_LESIONS);
        list.into_iter().map(|(_, drawn)| drawn).collect()
    }

    fn response(
        &self,
        follow_up: &tidydose_case::Case,
        definition: &'static ResponseDefinition,
    ) -> Response {
        let lesions = self.lesions(definition.of);
        let (new, open) = (self.new_lesions(), self.unmatched());
        let read = self.readings(follow_up, &lesions, definition.of);
        let (word, reason) = match &read {
            _ if new > 0 => ("progressive", Some("a new lesion is progression".to_owned())),
            Ok(sums) => match definition.response(sums, false) {
                UNDECIDED => (UNDECIDED, Some("the bounds hold a threshold".to_owned())),
                "progressive" => ("progressive", None),
                _ if open > 0 => (UNDECIDED, Some(unmatched_words(open))),
                word => (word, None),
            },
            Err(reason) => (UNDECIDED, Some(reason.clone())),
        };
        Response {
            patient_id: self.plan.patient.as_ref().map_or_else(String::new, ToString::to_string),
            treated_plan_id: self.plan.id.to_string(),
            plan_id: follow_up.id.to_string(),
            day: self.day,
            days_since: self.day - self.treated_day,
            definition,
            used: lesions.len(),
            new,
            sums: read.ok(),
            word,
            reason,
        }
    }

    /// New lesions since the treatment, up to this day.
    fn new_lesions(&self) -> usize {
        let since = |d: &&Drawn<'a>| {
            let first = matches!(&d.identity, Identity::New(id) if *id == d.entry.id);
            first && d.day.is_some_and(|day| day > self.treated_day && day <= self.day)
        };
        self.patient.drawn.values().filter(since).count()
    }

    /// Later drawings up to this day about which `lesions.csv` says nothing.
    fn unmatched(&self) -> usize {
        let open = |d: &&Drawn<'a>| {
            let later = d.entry.measured.case.is_follow_up() && d.identity == Identity::Undecided;
            later && d.day.is_some_and(|day| day > self.treated_day && day <= self.day)
        };
        self.patient.drawn.values().filter(open).count()
    }

    /// The sums at the treatment, at their smallest and now.
    ///
    /// # Errors
    /// Why there is none.
    fn readings(
        &self,
        follow_up: &tidydose_case::Case,
        lesions: &[&Drawn<'a>],
        of: Compared,
    ) -> Result<Readings, String> {
        if lesions.is_empty() {
            return Err(match of {
                Compared::SumOfDiameters => {
                    "no treated lesion is measurable: 10 mm long, 5 mm across, on two planes"
                }
                Compared::SumOfVolumes => "no treated lesion had 0.1 cc or more",
            }
            .to_owned());
        }
        let now = self.sum_in(follow_up, lesions, of)?;
        let mut nadir = self.sum_in(self.plan, lesions, of)?;
        let baseline = nadir;
        for (_, earlier) in self.patient.follow_ups.iter().filter(|(d, _)| *d < self.day) {
            if let Ok(then) = self.sum_in(earlier.case, lesions, of)
                && then.value < nadir.value
            {
                nadir = then;
            }
        }
        let mut growth = Bounded::exactly(f64::NEG_INFINITY);
        for lesion in lesions {
            let before = self.patient.before(&lesion.entry.id, self.day, |s| size(s, of));
            let now = self.at(follow_up, lesion, of);
            if let (Some(before), Some(now)) = (before, now) {
                let grown = now.minus(before.nadir);
                growth = Bounded {
                    value: growth.value.max(grown.value),
                    low: growth.low.max(grown.low),
                    high: growth.high.max(grown.high),
                };
            }
        }
        Ok(Readings { baseline, nadir, now, growth })
    }

    fn sum_in(
        &self,
        case: &tidydose_case::Case,
        lesions: &[&Drawn<'a>],
        of: Compared,
    ) -> Result<Bounded, String> {
        let mut sum = Bounded::exactly(0.0);
        for lesion in lesions {
            let size = self.at(case, lesion, of).ok_or_else(|| {
                format!(
                    "{} was not drawn again at this time, or lesions.csv does not say so: gone \
                     (gone_since in lesions.csv), or not looked at",
                    lesion.entry.id
                )
            })?;
            sum = sum.plus(size);
        }
        Ok(sum)
    }

    /// Size of a treated lesion in a plan or follow-up.
    fn at(&self, case: &tidydose_case::Case, lesion: &Drawn<'a>, of: Compared) -> Option<Bounded> {
        let id = &lesion.entry.id;
        if self.patient.gone_in(id).iter().any(|(_, gone)| gone.id == case.id) {
            return Some(Bounded::exactly(0.0));
        }
        let times = self.patient.times_of(id);
        let mut there = times.into_iter().filter(|d| d.entry.measured.case.id == case.id);
        // A lesion that fell apart is drawn as several: their sizes add up.
        let mut sum = size(&there.next()?.sizes, of)?;
        for more in there {
            sum = sum.plus(size(&more.sizes, of)?);
        }
        Some(sum)
    }
}

fn unmatched_words(open: usize) -> String {
    let drawn = if open == 1 { "drawing is" } else { "drawings are" };
    format!("{open} {drawn} matched to no lesion in lesions.csv: a new one would be progression")
}

fn size(sizes: &Sizes, of: Compared) -> Option<Bounded> {
    match of {
        Compared::SumOfDiameters => sizes.longest(),
        Compared::SumOfVolumes => sizes.volume(),
    }
}

const fn unit(of: Compared) -> &'static str {
    match of {
        Compared::SumOfDiameters => "mm",
        Compared::SumOfVolumes => "cc",
    }
}

fn criteria() -> Vec<&'static str> {
    RESPONSES_BY.iter().map(|d| d.word).collect()
}

fn who() -> Vec<Column<Response>> {
    vec![
        Column::text("patient_id", "patient, as a pseudonym", |r: &Response| {
            borrowed(&r.patient_id)
        }),
        Column::text("treated_plan_id", "the plan whose lesions are compared", |r| {
            borrowed(&r.treated_plan_id)
        }),
        Column::text("plan_id", "the follow-up", |r| borrowed(&r.plan_id)),
        Column::integer("day", "d", "its day, from a zero hidden per patient", |r| Some(r.day)),
        Column::integer("days_since_treatment", "d", "days since the plan was treated", |r| {
            Some(r.days_since)
        }),
        Column::word(
            "criterion",
            "the criterion: rano_bm_imaging adds longest diameters, volume_of_spheres volumes with \
             the same thresholds on spheres",
            &criteria(),
            |r| borrowed(r.definition.word),
        ),
        Column::integer(
            "n_lesions",
            "",
            "treated lesions that are added up: the largest, five at most, that the criterion measures",
            |r| count(r.used),
        ),
        Column::integer("n_new", "", "new lesions since the treatment", |r| count(r.new)),
    ]
}

fn sums() -> Vec<Column<Response>> {
    vec![
        Column::text("unit", "unit of the sums", |r: &Response| borrowed(unit(r.definition.of))),
        Column::real("sum", "", "their sum now; missing where one is not known", |r| {
            r.sums.map(|s| s.now.value)
        }),
        Column::real("sum_low", "", "lower numerical bound of the sum", |r| {
            r.sums.map(|s| s.now.low)
        }),
        Column::real("sum_high", "", "upper numerical bound of the sum", |r| {
            r.sums.map(|s| s.now.high)
        }),
        Column::real("sum_at_treatment", "", "the sum when they were treated", |r| {
            r.sums.map(|s| s.baseline.value)
        }),
        Column::real("sum_smallest", "", "the smallest sum before this time", |r| {
            r.sums.map(|s| s.nadir.value)
        }),
        Column::real("change_percent", "%", "change since the treatment", |r: &Response| {
            Some(r.sums?.now.change_percent(r.sums?.baseline)?.value)
        }),
        Column::real(
            "change_low_percent",
            "%",
            "its lower bound, by the bounds of both sums",
            |r: &Response| Some(r.sums?.now.change_percent(r.sums?.baseline)?.low),
        ),
        Column::real(
            "change_high_percent",
            "%",
            "its upper bound, by the bounds of both sums",
            |r: &Response| Some(r.sums?.now.change_percent(r.sums?.baseline)?.high),
        ),
        Column::real(
            "change_from_smallest_percent",
            "%",
            "change since the smallest sum",
            |r: &Response| Some(r.sums?.now.change_percent(r.sums?.nadir)?.value),
        ),
    ]
}

fn said() -> Vec<Column<Response>> {
    vec![
        Column::word(
            "response",
            "what the images say by the criterion; no clinical response",
            RESPONSES,
            |r: &Response| borrowed(r.word),
        ),
        Column::text("reason", "why it is undecided or progressive; missing otherwise", |r| {
            r.reason.as_deref().map(Cow::Borrowed)
        }),
        Column::text("not_computed", "what the criterion asks for besides", |_| borrowed(CAUTION)),
        Column::text("reference", "where the criterion is from, and what of it was read", |r| {
            borrowed(r.definition.reference)
        }),
    ]
}
