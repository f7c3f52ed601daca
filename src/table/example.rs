//! A small invented study for the tests of this room: one measured case and one that is left out.

use std::collections::BTreeMap;

use super::analysis::ChosenColumns;
use super::study::{MeasuredSum, MetricDefinition, Study};
use super::tally::Tally;
use super::user::clinical_file::ConfirmedLabels;
use super::user::lesion_file::{LesionDecision, LesionDecisions};
use super::user::states::States;
use tidydose_analyse::limit_check::LimitCheck;
use tidydose_analyse::picture::{LineKind, Orientation, Picture, PictureLine, View};
use tidydose_analyse::relate::Relation;
use tidydose_analyse::sensitivity::{Direction, Motion, Sensitivity};
use tidydose_analyse::trace::{
    StructureTrace, TracedPlane, TracedPoint, Uncertainty, UncertaintyTerm,
};
use tidydose_analyse::{
    Analysis, DoseResult, DvhPoint, Lesion, Measurement, RegionMeasurement, SeenSide,
    ShapeEvidence, StructureResult, SumMeasurement,
};
use tidydose_case::{
    Case, CountedFractions, Delivery, DeliverySource, DoseSource, FollowUp, FollowUpDay, FrameJoin,
    GivenDose, LinkMethod, NameBasis, NamedRoi, PlanSum, Prescription, PrescriptionBasis, Role,
    RoleReason, SumBasis, Technology, Treatment,
};
use tidydose_geometry::units::{CubicCentimetre, Day, Gray, Millimetre};
use tidydose_metrics::limits::{Checked, Limit, Tier, Verdict};
use tidydose_metrics::{Outcome, Status, Worse};
use tidydose_rt::finding::{Code, Finding, Subject};
use tidydose_rt::identity::Token;
use tidydose_rt::{
    DoseHeader, DoseSummation, DoseType, DoseUnits, FileRecord, FileStatus, ImageSeries, Inventory,
    Origin, Person, RoiHeader, StructureSetHeader,
};

pub(super) struct Example {
    pub(super) inventory: Inventory,
    pub(super) cases: Vec<Case>,
    pub(super) analyses: Vec<Analysis>,
    pub(super) sums: Vec<MeasuredSum>,
    pub(super) findings: Vec<Finding>,
    pub(super) limits: Vec<Limit>,
    pub(super) metrics: Vec<MetricDefinition>,
    pub(super) states: States,
    pub(super) lesion_decisions: LesionDecisions,
    pub(super) confirmed_labels: ConfirmedLabels,
    pub(super) tally: Tally,
    pub(super) columns: ChosenColumns,
}

impl Example {
    pub(super) fn new() -> Self {
        let files = ["f-a", "f-b", "f-c"].map(file).to_vec();
        Self {
            inventory: Inventory { files, images: vec![series()], ..Inventory::default() },
            cases: vec![case("plan-1", None), case("plan-2", Some("no dose belongs to the plan"))],
            analyses: vec![analysis()],
            sums: vec![sum()],
            findings: vec![
                finding(Code::PlanesFew, "2 planes"),
                finding(Code::PlanesFew, "2 planes, said differently"),
                finding(Code::NameUnmapped, "=name"),
            ],
            limits: vec![limit()],
            metrics: vec![metric("D2%[Gy]", "Gy"), metric("V12Gy[cc]", "cc")],
            states: States::default(),
            lesion_decisions: LesionDecisions::new(),
            confirmed_labels: ConfirmedLabels::new(),
            tally: Tally::default(),
            columns: ChosenColumns::default(),
        }
    }

    /// The same with a structure set that was drawn 100 d after the first case was treated.
    pub(super) fn followed(mut self) -> Self {
        if let Some(treated) = self.cases.first_mut() {
            treated.treatment.delivery = Some(Delivery {
                fractions: Some(1),
                partial: 0,
                first_day: Some(Day(10)),
                last_day: Some(Day(10)),
                source: DeliverySource::SessionRecords,
            });
        }
        let mut later = case("later-1", None);
        later.treatment.reason = RoleReason::DrawnLater;
        later.follow_up = Some(FollowUp {
            day: Day(110),
            day_source: FollowUpDay::Images,
            given: Some(GivenDose {
                plan: Token::new("plan-1"),
                structures_digest: String::new(),
                registration_day: None,
                fractions: Some(1),
                targets: Vec::new(),
            }),
        });
        self.analyses.push(Analysis { case: later.id.clone(), ..analysis() });
        self.cases.push(later);
        let same_as = Some("plan-1/2".to_owned());
        let decision = LesionDecision { same_as, ..LesionDecision::default() };
        self.lesion_decisions.insert("later-1/2".to_owned(), decision);
        self
    }

    /// The same study with every list the other way round.
    pub(super) fn reordered(&self) -> Self {
        let mut turned = Self {
            inventory: self.inventory.clone(),
            cases: self.cases.clone(),
            analyses: self.analyses.clone(),
            sums: self.sums.clone(),
            findings: self.findings.clone(),
            limits: self.limits.clone(),
            metrics: self.metrics.clone(),
            states: self.states.clone(),
            lesion_decisions: self.lesion_decisions.clone(),
            confirmed_labels: self.confirmed_labels.clone(),
            tally: self.tally.clone(),
            columns: self.columns.clone(),
        };
        turned.inventory.files.reverse();
        turned.cases.reverse();
        turned.findings.reverse();
        turned.metrics.reverse();
        for case in &mut turned.cases {
            case.names.reverse();
            case.prescriptions.reverse();
        }
        for analysis in &mut turned.analyses {
            analysis.structures.reverse();
            analysis.evidence.reverse();
            analysis.lesions.reverse();
            analysis.measurements.reverse();
            analysis.dvh.reverse();
            analysis.relations.reverse();
            analysis.sensitivities.reverse();
            analysis.limit_checks.reverse();
            analysis.findings.reverse();
        }
        turned
    }

    pub(super) fn study(&self) -> Study<'_> {
        Study {
            inventory: &self.inventory,
            cases: &self.cases,
            analyses: &self.analyses,
            sums: &self.sums,
            findings: &self.findings,
            states: &self.states,
            lesion_decisions: &self.lesion_decisions,
            confirmed_labels: &self.confirmed_labels,
            tally: &self.tally,
            columns: &self.columns,
            limits: &self.limits,
            metrics: &self.metrics,
            settings_digest: "digest",
        }
    }
}

fn file(name: &str) -> FileRecord {
    FileRecord {
        file: Token::new(name),
        bytes: 10,
        digest: Some(format!("digest of {name}")),
        sop_class: Some("RT Dose Storage"),
        object: Some(Token::new(format!("object of {name}"))),
        patient: Some(Token::new("patient")),
        status: FileStatus::Read,
        reason: String::new(),
    }
}

fn series() -> ImageSeries {
    ImageSeries {
        series: Token::new("series"),
        frame: Some(Token::new("frame")),
        patient: Some(Token::new("patient")),
        modality: "MR".to_owned(),
        day: None,
        slices: 120,
        spacing: Some(Millimetre::mm(1.0)),
        planes: None,
        places: None,
        objects: Vec::new(),
    }
}

fn origin(object: &str) -> Origin {
    Origin {
        file: Token::new("f-a"),
        object: Token::new(object),
        patient: Some(Token::new("patient")),
        digest: String::new(),
        person: Person::default(),
    }
}

fn case(id: &str, left_out: Option<&str>) -> Case {
    let named = |number, original: &str, standard: Option<&str>, role, basis| NamedRoi {
        number,
        original: original.to_owned(),
        standard: standard.map(str::to_owned),
        role,
        basis,
    };
    Case {
        id: Token::new(id),
        patient: Some(Token::new("patient")),
        plan: None,
        structure_set: Some(structure_set()),
        dose: left_out.is_none().then(dose),
        dose_source: DoseSource::default(),
        frames: FrameJoin::default(),
        follow_up: None,
        treatment: Treatment::default(),
        doses_seen: usize::from(left_out.is_none()),
        dose_link: LinkMethod::Reference,
        structure_link: LinkMethod::Frame,
        technology: Technology::GantryLinac,
        technology_basis: "BeamType".to_owned(),
        names: vec![
            named(1, "brain stem", Some("Brainstem"), Role::Organ, NameBasis::Rule),
            named(2, "-met, \"left\"", None, Role::Target, NameBasis::None),
        ],
        prescriptions: vec![Prescription {
            roi_number: 2,
            dose: Gray::gy(20.0),
            basis: PrescriptionBasis::PlanOnly,
        }],
        left_out: left_out.map(|reason| (Code::LinkMissing, reason.to_owned())),
    }
}

fn structure_set() -> StructureSetHeader {
    let roi = |number, name: &str| RoiHeader {
        interpreted_type: Some("ORGAN".to_owned()),
        stated_volume: Some(CubicCentimetre::cc(2.5)),
        contours: 12,
        ..RoiHeader::named(number, name)
    };
    StructureSetHeader {
        origin: origin("structure set"),
        frame: Some(Token::new("frame")),
        day: None,
        imaged: None,
        rois: vec![roi(1, "brain stem"), roi(2, "-met, \"left\""), roi(3, "third")],
        extents: BTreeMap::new(),
    }
}

fn dose() -> DoseHeader {
    DoseHeader {
        origin: origin("dose"),
        frame: Some(Token::new("frame")),
        units: DoseUnits::Gray,
        kind: DoseType::Physical,
        summation: DoseSummation::Plan,
        plans: Vec::new(),
        structure_set: None,
        stored_dvhs: Vec::new(),
        groups: Vec::new(),
        overview_fractions: None,
        grid: None,
        step: Some(Gray::gy(1e-5)),
        bits: Some(32),
        heterogeneity: None,
        maximum: None,
        hottest: None,
        voxels: None,
    }
}

fn moved(motion: Motion, mm: f64) -> Sensitivity {
    let direction = (motion == Motion::Shift).then_some(Direction::ALL[2]);
    Sensitivity {
        roi_number: 1,
        metric: "V12Gy[cc]".to_owned(),
        unit: "cc",
        motion,
        mm,
        value: Some(0.125),
        average: Some(0.25),
        lowest: Some(0.0),
        lowest_direction: direction,
        highest: Some(0.5),
        highest_direction: direction,
        worse: Some(Worse::Higher),
        status: Status::Ok,
        reason: String::new(),
    }
}

fn analysis() -> Analysis {
    let measurement = |roi_number, metric: &str, outcome| Measurement {
        roi_number,
        metric: metric.to_owned(),
        unit: if metric.starts_with('D') { "Gy" } else { "cc" },
        outcome,
        uncertainty: None,
        method: "cubic; caps".to_owned(),
    };
    let point = |dose_gy, volume_cc| DvhPoint {
        roi_number: 1,
        dose_gy,
        volume_cc,
        volume_percent: volume_cc * 40.0,
    };
    Analysis {
        case: Token::new("plan-1"),
        dose: Some(DoseResult { spacing_mm: [1.0, 1.5, 2.0], maximum_gy: 31.5, step_gy: 1e-5 }),
        structures: vec![structure(1), structure(2)],
        measurements: vec![
            Measurement {
                uncertainty: Some(uncertainty()),
                ..measurement(1, "V12Gy[cc]", Outcome::of(0.125))
            },
            measurement(1, "D2%[Gy]", Outcome::of(-0.0)),
            measurement(2, "V12Gy[cc]", Outcome::none(Status::Empty, "no contours")),
            measurement(2, "D2%[Gy]", Outcome::of(f64::NAN)),
        ],
        regions: vec![RegionMeasurement {
            region: "all tissue".to_owned(),
            metric: "V12Gy[cc]".to_owned(),
            unit: "cc",
            outcome: Outcome::of(1.5),
            method: "cubic; caps".to_owned(),
        }],
        evidence: vec![evidence(1), evidence(2)],
        lesions: vec![lesion(2)],
        relations: vec![
            relation(Some(1), "Gap[mm]", Outcome::of(-0.5)),
            relation(Some(1), "Overlap[cc]", Outcome::of(0.1)),
            relation(None, "NearestTarget[mm]", Outcome::none(Status::NotApplicable, "alone")),
        ],
        sensitivities: vec![moved(Motion::Margin, -0.5), moved(Motion::Shift, 1.0)],
        limit_checks: vec![check(12.5), check(15.0)],
        dvh: vec![point(0.0, 2.5), point(12.0, 0.125), point(12.0, 0.25)],
        pictures: vec![picture()],
        traces: vec![trace()],
        places: Vec::new(),
        findings: vec![finding(Code::PlaneGap, "8 mm"), finding(Code::PlanesFew, "2 planes")],
    }
}

fn evidence(roi_number: i64) -> ShapeEvidence {
    ShapeEvidence {
        roi_number,
        volume_cc: 2.5,
        centre_mm: [1.0, -2.0, 3.0],
        side: Some(SeenSide::Left),
        from_brain_mm: None,
        window: None,
    }
}

pub(super) fn lesion(roi_number: i64) -> Lesion {
    Lesion {
        roi_number,
        gtv: Vec::new(),
        ctv: Vec::new(),
        ptv: Vec::new(),
        other: vec![roi_number],
        boosts: Vec::new(),
        centre_mm: Some([1.0, -2.0, 3.0]),
        site: None,
        basis: "single",
    }
}

fn relation(other: Option<i64>, metric: &'static str, outcome: Outcome) -> Relation {
    let unit = if metric.ends_with("[cc]") { "cc" } else { "mm" };
    Relation {
        roi_number: 2,
        other_roi_number: other,
        metric,
        unit,
        outcome,
        method: "closed_caps",
    }
}

fn sum() -> MeasuredSum {
    let value = |metric: &str, unit, outcome| SumMeasurement {
        roi_number: 2,
        metric: metric.to_owned(),
        unit,
        alpha_beta_gy: Some(2.0),
        outcome,
        method: "cubic_b_spline; closed_caps; EQD2 of 2 plans".to_owned(),
    };
    MeasuredSum {
        sum: PlanSum {
            patient: Token::new("patient"),
            name: "both".to_owned(),
            basis: SumBasis::Eqd2,
            plans: ["plan-1", "plan-2"].map(Token::new).into(),
            structures_of: None,
        },
        structures_of: Token::new("plan-1"),
        fractions: vec![(
            Token::new("plan-1"),
            CountedFractions { planned: 5, delivered: None, partial: 0 },
        )],
        measurements: vec![
            value("Max[Gy]", "Gy", Outcome::of(60.0)),
            value("V12Gy[cc]", "cc", Outcome::none(Status::OutsideGrid, "outside")),
        ],
    }
}

fn limit() -> Limit {
    Limit {
        organ: "Brainstem".to_owned(),
        metric: tidydose_metrics::parse("D2%[Gy]").unwrap(),
        inclusive: true,
        value: 12.5,
        fractions: [1, 1],
        tier: Tier::LocalPractice,
        target_may_lie_inside: false,
        source: "an invented source".to_owned(),
        evidence: "not yet checked against the source".to_owned(),
        checked: Checked::NotChecked,
        endpoint: String::new(),
        risk: String::new(),
        note: String::new(),
    }
}

fn check(value: f64) -> LimitCheck {
    LimitCheck {
        organ: "Brainstem".to_owned(),
        roi_number: Some(1),
        fractions: Some(1),
        limit: Some(Limit { value, ..limit() }),
        outcome: Some(Outcome { low: Some(11.0), high: Some(13.0), ..Outcome::of(12.0) }),
        verdict: Verdict::Undecided,
        reason: String::new(),
        judge_clinically: false,
        target_inside_percent: None,
    }
}

fn structure(roi_number: i64) -> StructureResult {
    StructureResult {
        roi_number,
        closed_contours: 12,
        planes: 12,
        holes: 0,
        plane_spacing_mm: Some(1.0),
        plane_gap_max_mm: Some(1.0),
        pixel_mm: None,
        volume: Outcome { low: Some(2.4), high: Some(2.6), ..Outcome::of(2.5) },
        centroid_mm: Some([1.0, -2.0, 3.0]),
        inside_grid_percent: Some(100.0),
        prescription: None,
    }
}

fn picture() -> Picture {
    let line = |kind, roi_number, dose_gy, points: &[[f64; 2]]| PictureLine {
        kind,
        roi_number,
        dose_gy,
        points: points.to_vec(),
    };
    Picture {
        roi_number: 1,
        view: View::Middle,
        orientation: Orientation::Axial,
        as_drawn: true,
        directions: ['L', 'P'],
        plane_mm: 3.0,
        off_plane_mm: 0.25,
        lines: vec![
            line(LineKind::Contour, Some(1), None, &[[0.0, 1.26], [-1.5, 0.0], [0.0, 1.26]]),
            line(LineKind::Isodose, None, Some(12.0), &[[3.0, 4.0], [3.0, 5.0]]),
            line(LineKind::Mark, None, Some(31.25), &[[0.0, 0.0]]),
        ],
    }
}

fn uncertainty() -> Uncertainty {
    Uncertainty::of_terms(&[(UncertaintyTerm::Dose, 0.3), (UncertaintyTerm::Step, 0.4)])
}

fn trace() -> StructureTrace {
    let plane = |position_mm: f64| TracedPlane {
        position_mm,
        thickness_mm: 1.0,
        outlines: 1,
        area_mm2: 20.0,
        centre_mm: [1.0, -2.0, position_mm],
    };
    let point = |dose_gy| TracedPoint { point_mm: [1.5, -2.0, 3.5], dose_gy };
    StructureTrace {
        roi_number: 1,
        planes: vec![plane(3.0), plane(4.0)],
        middle_mm: Some([1.0, -2.0, 3.5]),
        hottest: Some(point(12.5)),
        voxel: Some(point(12.25)),
        voxel_index: Some([0, 1, 2]),
    }
}

fn finding(code: Code, message: &str) -> Finding {
    let subject =
        Subject { case: Some(Token::new("plan-1")), roi_number: Some(1), ..Subject::default() };
    Finding::new(code, subject, message)
}

fn metric(name: &str, unit: &str) -> MetricDefinition {
    MetricDefinition {
        name: name.to_owned(),
        unit: unit.to_owned(),
        meaning: "an invented metric".to_owned(),
        applies_to: "all".to_owned(),
        formula: "none".to_owned(),
        reference: "none".to_owned(),
    }
}
