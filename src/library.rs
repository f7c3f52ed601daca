//! What other programs may call: a structure set and a dose as read from their files, and the
//! histogram of a structure with every value and its bounds, the same numbers as in the tables.

use std::path::Path;

use tidydose_analyse::{Settings, analyse};
use tidydose_case::{Case, Decisions, dose_defect, identify, is_whole_dose};
use tidydose_dicom as dicom;
use tidydose_metrics::{self as metrics, AppliesTo, Metric, Need, Outcome};
use tidydose_rt as rt;
use tidydose_rt::finding::Finding;
use tidydose_rt::identity::Identity;
use tidydose_rt::nearest::nearest;

/// Why something cannot be done.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum Error {
    /// The file is not a readable object of its kind.
    #[error("{0}")]
    File(#[from] dicom::Error),
    /// No structure has the name.
    #[error("no structure is called {typed:?}; nearest: {nearest}")]
    NoSuchStructure {
        /// As it was asked for.
        typed: String,
        /// Names that are there.
        nearest: String,
    },
    /// Several structures have the name.
    #[error("{count} structures are called {typed:?}; ask by ROI Number")]
    SeveralStructures {
        /// As it was asked for.
        typed: String,
        /// How many they are.
        count: usize,
    },
    /// The dose cannot be measured in gray; a study leaves it out for the same reason.
    #[error("{0}")]
    UnusableDose(String),
    /// The grid holds something else than the dose of one whole plan.
    #[error(
        "Dose Summation Type (3004,000A) is {summation}; the dose of one PLAN would be accepted"
    )]
    NotAPlanDose {
        /// The defined term that was found.
        summation: &'static str,
    },
    /// Structure and dose lie in different frames of reference.
    #[error(
        "the structure is in another frame of reference (0020,0052) than the dose; a dose in the \
         same frame would be accepted"
    )]
    OtherFrame,
    /// No metric has the name.
    #[error("{0}")]
    NoSuchMetric(String),
    /// The metric is of several structures or of the whole plan.
    #[error("{metric} is of several structures or of the whole plan; a study has it")]
    OfSeveralStructures {
        /// The metric.
        metric: String,
    },
    /// The settings did not ask for the metric.
    #[error("{metric} was not asked for; add it to `Settings::metrics`")]
    NotAskedFor {
        /// The metric.
        metric: String,
    },
}

/// An RT Structure Set.
#[derive(Debug, Clone)]
pub struct StructureSet {
    set: rt::StructureSet,
    findings: Vec<Finding>,
}

/// Reads an RT Structure Set with its contours. Identifiers stay as they are in the file: what comes
/// of this function is not pseudonymous, unlike the tables of a study.
///
/// # Errors
/// [`Error::File`] when the file is not a readable RT Structure Set.
///
/// # Examples
/// ```
/// let set = tidydose::read_structure_set("sample-anonymised/gantry/LK-07/A-structures.dcm")?;
/// assert!(set.names().any(|name| name == "BRAINSTEM"));
/// # Ok::<(), tidydose::Error>(())
/// ```
pub fn read_structure_set(path: impl AsRef<Path>) -> Result<StructureSet, Error> {
    let dicom::Reading { value, findings } =
        dicom::read_structure_set(path.as_ref(), &Identity::kept())?;
    Ok(StructureSet { set: value, findings })
}

impl StructureSet {
    /// The ROI Names (3006,0026), by ascending ROI Number.
    pub fn names(&self) -> impl Iterator<Item = &str> {
        self.set.rois.iter().map(|roi| roi.header.name.as_str())
    }

    /// What was odd about the file.
    #[must_use]
    pub fn findings(&self) -> &[Finding] {
        &self.findings
    }

    /// The structure of a name: the ROI Name as it stands in the file, else the standard name
    /// (AAPM TG-263) that the naming rules find for one.
    ///
    /// # Errors
    /// [`Error::NoSuchStructure`] with the nearest names, [`Error::SeveralStructures`].
    ///
    /// # Examples
    /// ```
    /// let set = tidydose::read_structure_set("sample-anonymised/gantry/LK-07/A-structures.dcm")?;
    /// assert_eq!(set.roi("Brainstem")?.number(), set.roi("BRAINSTEM")?.number());
    /// assert!(set.roi("Brainstm").unwrap_err().to_string().contains("nearest: Brainstem"));
    /// # Ok::<(), tidydose::Error>(())
    /// ```
    pub fn roi(&self, name: &str) -> Result<Roi<'_>, Error> {
        let mut found: Vec<i64> = Vec::new();
        for roi in self.set.rois.iter().filter(|roi| roi.header.name == name) {
            found.push(roi.header.number);
        }
        let case = case_of(&self.set, None);
        if found.is_empty() {
            let own = case.names.iter().filter(|n| n.standard.as_deref() == Some(name));
            found.extend(own.map(|n| n.number));
        }
        match found[..] {
            [number] => Ok(Roi { set: &self.set, number, plan: None }),
            [] => {
                let standards = case.names.iter().filter_map(|n| n.standard.as_deref());
                let nearest = nearest(name, standards.chain(self.names()));
                Err(Error::NoSuchStructure { typed: name.to_owned(), nearest })
            }
            _ => Err(Error::SeveralStructures { typed: name.to_owned(), count: found.len() }),
        }
    }

    /// The structure of a ROI Number (3006,0022).
    ///
    /// # Errors
    /// [`Error::NoSuchStructure`].
    pub fn roi_number(&self, number: i64) -> Result<Roi<'_>, Error> {
        let found = self.set.rois.iter().find(|roi| roi.header.number == number);
        let none = || Error::NoSuchStructure {
            typed: format!("number {number}"),
            nearest: self.names().collect::<Vec<_>>().join(", "),
        };
        found.map(|_| Roi { set: &self.set, number, plan: None }).ok_or_else(none)
    }
}

/// One structure of a set.
#[derive(Debug, Clone, Copy)]
pub struct Roi<'a> {
    set: &'a rt::StructureSet,
    number: i64,
    /// From which prescription and fractions are taken.
    plan: Option<&'a Plan>,
}

impl<'a> Roi<'a> {
    /// ROI Number (3006,0022).
    #[must_use]
    pub const fn number(&self) -> i64 {
        self.number
    }

    /// The same with a plan, for what takes a prescription or a number of fractions.
    #[must_use]
    pub const fn planned(self, plan: &'a Plan) -> Self {
        Self { plan: Some(plan), ..self }
    }
}

/// An RT Plan.
#[derive(Debug, Clone)]
pub struct Plan {
    plan: rt::Plan,
}

/// Reads an RT Plan or RT Ion Plan.
///
/// # Errors
/// [`Error::File`] when the file is not a readable plan.
pub fn read_plan(path: impl AsRef<Path>) -> Result<Plan, Error> {
    let dicom::Reading { value, .. } = dicom::read_plan(path.as_ref(), &Identity::kept())?;
    Ok(Plan { plan: value })
}

/// The dose of a whole plan.
#[derive(Debug, Clone)]
pub struct Dose {
    header: rt::DoseHeader,
    dose: rt::Dose,
}

/// Reads an RT Dose in gray with its voxels.
///
/// # Errors
/// [`Error::File`] when the file is not a readable RT Dose with a grid, [`Error::UnusableDose`] for a
/// relative dose or a difference of doses, and [`Error::NotAPlanDose`] for a part of a dose (a beam,
/// a fraction) or that of several plans.
pub fn read_dose(path: impl AsRef<Path>) -> Result<Dose, Error> {
    let dicom::Reading { value: (header, dose), .. } =
        dicom::read_dose(path.as_ref(), &Identity::kept())?;
    if let Some((_, why)) = dose_defect(&header) {
        return Err(Error::UnusableDose(why));
    }
    if !is_whole_dose(&header) {
        return Err(Error::NotAPlanDose { summation: header.summation.term() });
    }
    Ok(Dose { header, dose })
}

/// A structure in a dose: its values with bounds, and its cumulative histogram.
#[derive(Debug, Clone)]
pub struct Dvh {
    values: Vec<(String, Outcome)>,
    curve: Vec<[f64; 2]>,
    findings: Vec<Finding>,
}

/// Measures a structure in a dose.
///
/// **Units**: those of each metric. **Absence**: a value that does not exist (a volume larger than the
/// structure, a structure outside of the grid) is an [`Outcome`] with status and reason. The numbers
/// are those of the tables of a study with the same settings, but for a structure on a single plane,
/// of which a study knows the spacing of the images.
///
/// # Errors
/// [`Error::OtherFrame`].
///
/// # Examples
/// ```
/// use tidydose::Settings;
///
/// let folder = "sample-anonymised/gantry/LK-07";
/// let set = tidydose::read_structure_set(format!("{folder}/A-structures.dcm"))?;
/// let dose = tidydose::read_dose(format!("{folder}/A-dose.dcm"))?;
/// let dvh = tidydose::dvh(set.roi("Brainstem")?, &dose, &Settings::default())?;
/// let hottest = dvh.value("D0.03cc[Gy]")?;
/// let (low, high) = (hottest.low.unwrap(), hottest.high.unwrap());
/// assert!(18.6 < low && high < 18.8, "{low} to {high} Gy");
/// # Ok::<(), tidydose::Error>(())
/// ```
pub fn dvh(roi: Roi<'_>, dose: &Dose, settings: &Settings) -> Result<Dvh, Error> {
    let mut case = case_of(roi.set, roi.plan.map(|p| &p.plan));
    let mut set = roi.set.clone();
    // An isodose that goes around several targets is divided among them.
    let has_isodoses = |number: i64| case.prescriptions.iter().any(|p| p.roi_number == number);
    let beside = |number: i64| has_isodoses(roi.number) && has_isodoses(number);
    set.rois.retain(|r| r.header.number == roi.number || beside(r.header.number));
    let chosen = set.rois.iter().find(|r| r.header.number == roi.number);
    let own = chosen.and_then(|r| r.header.frame.as_ref()).or(set.frame.as_ref());
    if own.zip(dose.header.frame.as_ref()).is_some_and(|(own, dose)| own != dose) {
        return Err(Error::OtherFrame);
    }
    case.dose = Some(dose.header.clone());
    // Regions are of the plan, not of a structure.
    let mut settings = Settings { regions: false, ..settings.clone() };
    settings.metrics.retain(|metric| is_of_one_structure(*metric));
    let done = analyse(&case, Some(&set), Some(dose.dose.clone()), &settings);
    let own = done.measurements.into_iter().filter(|m| m.roi_number == roi.number);
    let curve = done.dvh.iter().filter(|p| p.roi_number == roi.number);
    Ok(Dvh {
        values: own.map(|m| (m.metric, m.outcome)).collect(),
        curve: curve.map(|p| [p.dose_gy, p.volume_cc]).collect(),
        findings: done.findings,
    })
}

impl Dvh {
    /// A value by its name in AAPM TG-263 syntax (`D0.03cc[Gy]`, `V12Gy[cc]`) or that of an index
    /// (`PaddickConformity`), with its bounds.
    ///
    /// # Errors
    /// [`Error::NoSuchMetric`] with the nearest names, [`Error::OfSeveralStructures`] and
    /// [`Error::NotAskedFor`].
    pub fn value(&self, metric: &str) -> Result<&Outcome, Error> {
        let metric = metrics::parse(metric).map_err(|e| Error::NoSuchMetric(e.to_string()))?;
        let name = metric.to_string();
        if !is_of_one_structure(metric) {
            return Err(Error::OfSeveralStructures { metric: name });
        }
        let found = self.values.iter().find(|(own, _)| *own == name);
        found.map(|(_, outcome)| outcome).ok_or(Error::NotAskedFor { metric: name })
    }

    /// All values that were asked for and that structures of this kind have, with their names.
    pub fn values(&self) -> impl Iterator<Item = (&str, &Outcome)> {
        self.values.iter().map(|(name, outcome)| (name.as_str(), outcome))
    }

    /// The cumulative histogram as in the table `dvh`: dose in Gy, volume in cc that receives at
    /// least as much; empty where there is no dose.
    #[must_use]
    pub fn curve(&self) -> &[[f64; 2]] {
        &self.curve
    }

    /// What was odd about structure and dose.
    #[must_use]
    pub fn findings(&self) -> &[Finding] {
        &self.findings
    }
}

fn is_of_one_structure(metric: Metric) -> bool {
    let definition = metric.definition;
    !definition.needs(Need::Organs) && definition.applies_to != AppliesTo::Plan
}

/// A case of nothing but a structure set and, perhaps, a plan, named and prescribed by the rules.
fn case_of(set: &rt::StructureSet, plan: Option<&rt::Plan>) -> Case {
    let header = rt::StructureSetHeader {
        origin: set.origin.clone(),
        frame: set.frame.clone(),
        day: None,
        imaged: None,
        rois: set.rois.iter().map(|roi| roi.header.clone()).collect(),
        extents: set.extents(),
    };
    let id = plan.map_or(&set.origin, |p| &p.origin).object.clone();
    let mut cases = [Case {
        patient: set.origin.patient.clone(),
        plan: plan.cloned(),
        structure_set: Some(header),
        ..Case::named(id)
    }];
    // Its findings are about names, which who calls has chosen.
    identify(&mut cases, &Decisions::default());
    let [case] = cases;
    case
}
