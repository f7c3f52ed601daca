//! RT Beams Treatment Record and RT Treatment Summary Record (PS3.3 A.29, A.31).

use dicom_dictionary_std::{tags, uids};

use super::Result;
use super::encode::{Header, Item};

/// One beam of one session.
#[derive(Debug, Clone, PartialEq)]
pub struct SessionBeam {
    /// Referenced Beam Number.
    pub beam: i32,
    /// Current Fraction Number.
    pub fraction: i32,
    /// Specified and delivered primary meterset.
    pub metersets: [f64; 2],
    /// Treatment Delivery Type.
    pub delivery_type: String,
}

/// What was delivered on one day, or the summary of a course.
#[derive(Debug, Clone, PartialEq)]
pub struct Record {
    /// Who and what; its date is the day of treatment.
    pub header: Header,
    /// The plan.
    pub plan_uid: String,
    /// What was delivered.
    pub beams: Vec<SessionBeam>,
    /// Fractions delivered, first and last date: makes it a summary.
    pub summary: Option<(i32, String, String)>,
}

impl Record {
    /// One fraction with every beam delivered whole.
    pub fn fraction(header: Header, plan_uid: &str, fraction: i32, beams: &[i32]) -> Self {
        let beam = |beam: &i32| SessionBeam {
            beam: *beam,
            fraction,
            metersets: [100.0; 2],
            delivery_type: "TREATMENT".into(),
        };
        Self {
            header,
            plan_uid: plan_uid.into(),
            beams: beams.iter().map(beam).collect(),
            summary: None,
        }
    }

    /// The bytes of the file.
    ///
    /// # Errors
    /// When the data set cannot be encoded.
    pub fn bytes(&self) -> Result<Vec<u8>> {
        let class = match self.summary {
            None => uids::RT_BEAMS_TREATMENT_RECORD_STORAGE,
            Some(_) => uids::RT_TREATMENT_SUMMARY_RECORD_STORAGE,
        };
        let mut item = self.header.item(class, "RTRECORD");
        let plan = Item::reference(uids::RT_PLAN_STORAGE, &self.plan_uid);
        item.text(tags::TREATMENT_DATE, &self.header.date)
            .sequence(tags::REFERENCED_RT_PLAN_SEQUENCE, vec![plan]);
        if let Some((fractions, first, last)) = &self.summary {
            let group = Item::new().integer(tags::NUMBER_OF_FRACTIONS_DELIVERED, fractions).built();
            item.text(tags::FIRST_TREATMENT_DATE, first)
                .text(tags::MOST_RECENT_TREATMENT_DATE, last)
                .sequence(tags::FRACTION_GROUP_SUMMARY_SEQUENCE, vec![group]);
        }
        let beam = |b: &SessionBeam| {
            let [specified, delivered] = b.metersets;
            let status = if delivered < specified { "MACHINE" } else { "NORMAL" };
            Item::new()
                .integer(tags::CURRENT_FRACTION_NUMBER, b.fraction)
                .text(tags::TREATMENT_TERMINATION_STATUS, status)
                .decimals(tags::SPECIFIED_PRIMARY_METERSET, &[specified])
                .decimals(tags::DELIVERED_PRIMARY_METERSET, &[delivered])
                .text(tags::TREATMENT_DELIVERY_TYPE, &b.delivery_type)
                .integer(tags::REFERENCED_BEAM_NUMBER, b.beam)
                .built()
        };
        if !self.beams.is_empty() {
            let beams = self.beams.iter().map(beam).collect();
            item.sequence(tags::TREATMENT_SESSION_BEAM_SEQUENCE, beams);
        }
        self.header.bytes(item)
    }
}
