-- question: What goes into the first table of a paper, by technology, with missing counts?
-- tables:   plans, lesions
-- units:    counts, cc, Gy
-- caution:  Plans and lesions are those of `tidydose paper`: measured and not set aside as another version;
--           a lesion is a row of table lesions. A gap is counted in its own column.
WITH own AS (
  SELECT plan_id, COUNT(*) AS n, COUNT(gtv_volume_cc) AS with_volume, SUM(gtv_volume_cc) AS total_cc
  FROM lesions
  GROUP BY plan_id
)
SELECT p.technology, COUNT(DISTINCT p.patient_id) AS patients, COUNT(*) AS plans,
       COALESCE(SUM(l.n), 0) AS n_lesions,
       COALESCE(SUM(l.n) - SUM(l.with_volume), 0) AS lesions_without_gtv_volume,
       MEDIAN(l.total_cc) AS gtv_total_median_cc,
       PERCENTILE_CONT(l.total_cc, 0.25) AS gtv_total_q1_cc,
       PERCENTILE_CONT(l.total_cc, 0.75) AS gtv_total_q3_cc,
       SUM(CASE WHEN p.fractions_planned = 1 THEN 1 ELSE 0 END) AS single_fraction,
       SUM(CASE WHEN p.fractions_planned IS NULL THEN 1 ELSE 0 END) AS fractions_missing,
       MEDIAN(p.prescription_dose_gy) AS prescription_median_gy,
       SUM(CASE WHEN p.prescription_dose_gy IS NULL THEN 1 ELSE 0 END) AS prescription_missing
FROM plans p
LEFT JOIN own l ON p.plan_id = l.plan_id
WHERE p.in_study
GROUP BY p.technology
ORDER BY p.technology
