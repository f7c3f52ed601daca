-- question: Which names still have no decision, and how many structures wait for it?
-- tables:   structures
-- units:    counts
-- caution:  Structures without a standard name keep their rows; no question about an organ sees them.
SELECT name_original, name_basis, COUNT(*) AS structures, COUNT(DISTINCT patient_id) AS patients,
       MEDIAN(known_cc) AS volume_median_cc
FROM (
  SELECT name_original, name_basis, patient_id,
         CASE WHEN volume_status = 'ok' THEN volume_cc END AS known_cc
  FROM structures
) s
WHERE name_basis IN ('none', 'ambiguous')
GROUP BY name_original, name_basis
ORDER BY patients DESC, structures DESC, name_original
