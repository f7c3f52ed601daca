//! `columns.csv`: which columns table `analysis` has, in which order, under which label and with the
//! unit written how. A new study gets the usual ones in use and all others offered; what stands in
//! the file afterwards is the user's and is never changed.

use std::path::Path;

use super::unmatched::{Spot, Unmatched};
use super::user_file::{ReadError, UserFile};
use crate::analysis::{ChosenColumns, ColumnFault, meant, offered, units_like};
use crate::write_file::{Access, WriteError};
use tidydose_case::{Case, nearest_standard, standard_name};

/// The file.
pub const FILE: &str = "columns.csv";

const REQUIRED: &[&str] = &["column"];
const COLUMNS: &[&str] = &["column", "in_use", "label", "unit", "meaning"];

/// Regions that nobody drew; see `tidydose_analyse`.
const REGIONS: [&str; 4] = ["all tissue", "Brain-GTV", "Brain-PTV", "Brain-targets"];

/// What the user chose.
#[derive(Debug, Clone, PartialEq)]
pub struct ColumnsFile {
    file: UserFile,
    chosen: ChosenColumns,
}

impl ColumnsFile {
    /// Reads the file; the usual columns where there is none.
    ///
    /// # Errors
    /// When it cannot be read, a row names no column or one that an earlier row has, or a unit is
    /// another one; the message has row, column, value and what would be accepted.
    pub fn read(path: &Path) -> Result<Self, ReadError> {
        let (file, chosen) = UserFile::read_decided(path, [REQUIRED, COLUMNS], chosen)?;
        Ok(Self { file, chosen })
    }

    /// The columns in their order.
    #[must_use]
    pub const fn chosen(&self) -> &ChosenColumns {
        &self.chosen
    }

    /// Writes a file that asks for these columns, in their order.
    ///
    /// # Errors
    /// When it cannot be written.
    pub(crate) fn write_chosen(chosen: &ChosenColumns, path: &Path) -> Result<(), WriteError> {
        let mut file = UserFile::for_people(COLUMNS);
        for column in chosen.all() {
            file.add(&[
                ("column", &column.name),
                ("in_use", "yes"),
                ("label", &column.label),
                ("unit", &column.shown_unit),
                ("meaning", &column.meaning),
            ]);
        }
        file.write(path, Access::Shared)
    }

    /// The rows whose organ is no standard name and no structure of the archive: their columns would
    /// be empty.
    #[must_use]
    pub fn unmatched(&self, cases: &[Case]) -> Vec<Unmatched> {
        let names = cases.iter().flat_map(|c| &c.names);
        let mut others: Vec<String> = names.filter_map(|n| n.standard.clone()).collect();
        others.extend(REGIONS.map(str::to_owned));
        let mut unmatched = Vec::new();
        for row in used_rows(&self.file) {
            let value = self.file.text(row, "column");
            let Some((organ, _)) = value.rsplit_once(':') else { continue };
            let organ = organ.trim();
            if standard_name(organ).is_some() || others.iter().any(|known| known == organ) {
                continue;
            }
            let spot = Spot { file: FILE, line: UserFile::line(row), column: "column", value };
            let reason = format!(
                "no structure of the archive and no standard name is called `{organ}`; the column \
                 stays empty"
            );
            unmatched.push(spot.unmatched(reason, nearest_standard(organ, &others)));
        }
        unmatched
    }

    /// Writes the file where there is none.
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn write(&self, path: &Path) -> Result<(), WriteError> {
        if self.file.is_kept() || path.exists() {
            return Ok(());
        }
        let mut file = UserFile::for_people(COLUMNS);
        for (column, usual) in offered() {
            file.add(&[
                ("column", &column.name),
                ("in_use", if usual { "yes" } else { "no" }),
                ("label", &column.label),
                ("unit", &column.unit),
                ("meaning", &column.meaning),
            ]);
        }
        file.write(path, Access::Shared)
    }
}

/// The rows that ask for a column; an empty `in_use` counts as yes.
fn used_rows(file: &UserFile) -> impl Iterator<Item = usize> + '_ {
    let asks = |row: &usize| {
        let used = file.text(*row, "in_use");
        !file.text(*row, "column").is_empty() && !used.eq_ignore_ascii_case("no")
    };
    (0..file.row_count()).filter(asks)
}

fn chosen(file: &UserFile) -> Result<ChosenColumns, String> {
    if !file.is_kept() {
        return Ok(ChosenColumns::default());
    }
    let mut columns = Vec::new();
    let mut rows: Vec<(String, usize)> = Vec::new();
    for row in 0..file.row_count() {
        let line = UserFile::line(row);
        let used = file.text(row, "in_use");
        if !["", "yes", "no"].iter().any(|word| used.eq_ignore_ascii_case(word)) {
            return Err(format!("row {line}, column in_use: `{used}`; accepted: yes, no, nothing"));
        }
    }
    for row in used_rows(file) {
        let line = UserFile::line(row);
        let named = meant(file.text(row, "column"));
        let mut column =
            named.map_err(|ColumnFault(reason)| format!("row {line}, column column: {reason}"))?;
        if let Some((_, earlier)) = rows.iter().find(|(name, _)| *name == column.name) {
            let name = &column.name;
            return Err(format!("row {line}: {name} stands in row {earlier} already; keep one"));
        }
        rows.push((column.name.to_string(), line));
        let (label, unit) = (file.text(row, "label"), file.text(row, "unit"));
        if !label.is_empty() {
            column.label = label.split_whitespace().collect::<Vec<_>>().join(" ").into();
        }
        if !unit.is_empty() {
            let accepted = units_like(&column.unit);
            if !accepted.iter().any(|known| known.eq_ignore_ascii_case(unit)) {
                let accepted = accepted.join(", ");
                return Err(format!(
                    "row {line}, column unit: `{unit}` is another unit than that of {}; accepted: \
                     nothing, {}; numbers are not converted",
                    column.name,
                    accepted.trim_start_matches(", ")
                ));
            }
            column.shown_unit = unit.to_owned().into();
        }
        columns.push(column);
    }
    Ok(ChosenColumns::new(columns))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(text: &str) -> Result<ColumnsFile, String> {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join(FILE);
        std::fs::write(&path, text).unwrap();
        ColumnsFile::read(&path).map_err(|e| e.reason)
    }

    fn names(file: &ColumnsFile) -> Vec<&str> {
        file.chosen().all().iter().map(|c| &*c.name).collect()
    }

    #[test]
    fn a_new_file_offers_every_column_and_gives_the_usual_ones() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join(FILE);
        let none = ColumnsFile::read(&path).unwrap();
        assert_eq!(none.chosen(), &ChosenColumns::default());
        none.write(&path).unwrap();
        let written = ColumnsFile::read(&path).unwrap();
        assert_eq!(written.chosen(), none.chosen(), "the file says what was there without it");
        assert!(written.file.row_count() > 2 * written.chosen().all().len());
        let text = std::fs::read_to_string(&path).unwrap();
        // With every row in use all of them are understood.
        let all = read(&text.replace(",no,", ",yes,")).unwrap();
        assert_eq!(all.chosen().all().len(), written.file.row_count());
        std::fs::write(&path, "column\nside\n").unwrap();
        none.write(&path).unwrap();
        assert_eq!(names(&ColumnsFile::read(&path).unwrap()), ["side"], "it stays the user's");
    }

    #[test]
    fn columns_are_taken_in_the_users_order_with_labels_and_units() {
        let text = "column;in_use;label;unit\nLens_L:Max[Gy];;Left lens;\nVOLUME_CC;yes;;cm³\n\
                    side;no;;\nlesion_id;;;\nD90%[Gy];yes;;\nMean[Gy];;;\n";
        let file = read(text).unwrap();
        assert_eq!(names(&file), ["lens_l_max_gy", "volume_cc", "d90_gy", "mean_gy"]);
        let [lens, volume, d90, mean] = file.chosen().all() else { panic!("four columns") };
        assert_eq!((&*lens.label, &*lens.shown_unit), ("Left lens", "Gy"));
        assert_eq!((&*volume.label, &*volume.unit, &*volume.shown_unit), ("Volume", "cc", "cm³"));
        assert_eq!(d90.bound_names(), ["d90_low_gy", "d90_high_gy", "d90_status"]);
        assert_eq!(d90.named_metric(), Some((None, "D90%[Gy]")));
        assert_eq!(mean.named_metric(), None, "the list has it");
    }

    #[test]
    fn a_row_that_is_no_column_is_named_with_the_nearest() {
        let fault = |row: &str| read(&format!("column,unit,in_use\n{row}\n")).unwrap_err();
        let said = fault("volum_cc,,");
        assert!(
            said.starts_with("row 2, column column: `volum_cc` is no column; nearest: volume_cc"),
            "{said}"
        );
        let said = fault("D95,,");
        assert!(said.contains("D95%[Gy]") && said.contains("ORGAN:METRIC"), "{said}");
        let said = fault("Brainstem:Maxx[Gy],,");
        assert!(said.contains("\"Maxx[Gy]\" is no metric; nearest: Max[Gy]"), "{said}");
        let said = fault("volume_cc,mm3,");
        assert!(
            said.contains("column unit: `mm3` is another unit") && said.contains("cc, cm3"),
            "{said}"
        );
        assert!(fault("side,Gy,").ends_with("accepted: nothing, 1, -; numbers are not converted"));
        assert!(fault("side,,perhaps").contains("accepted: yes, no, nothing"));
        let said = fault("side,,\nD95%[Gy],,\nd95_gy,,");
        assert_eq!(said, "row 4: d95_gy stands in row 3 already; keep one");
        assert!(read("name\nside\n").unwrap_err().contains("column `column` is missing"));
    }

    #[test]
    fn an_organ_that_nobody_has_is_said_and_a_standard_name_is_not() {
        let text = "column\nBrianstem:Max[Gy]\nLens_L:Max[Gy]\nall tissue:V12Gy[cc]\n";
        let rows = read(text).unwrap().unmatched(&[]);
        assert_eq!(rows.len(), 1, "{rows:?}");
        let said = rows[0].sentence();
        assert!(
            said.starts_with("row 2 of columns.csv, column column: `Brianstem:Max[Gy]`"),
            "{said}"
        );
        assert!(said.contains("`Brainstem`"), "{said}");
    }
}
