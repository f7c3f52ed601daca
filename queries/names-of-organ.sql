-- question: Which original names were read as an organ, how often, and with what volume?
-- tables:   structures
-- units:    cc
-- caution:  A name far from the others in volume is a reason to look, not a proof.
-- set organ: structure = Brainstem  standard name of the organ
SELECT name_original, name_basis, COUNT(*) AS structures, MIN(known_cc) AS volume_min_cc,
       MEDIAN(known_cc) AS volume_median_cc, MAX(known_cc) AS volume_max_cc
FROM (
  SELECT name_original, name_basis, name_standard,
         CASE WHEN volume_status = 'ok' THEN volume_cc END AS known_cc
  FROM structures
) s
WHERE name_standard = $organ
GROUP BY name_original, name_basis
ORDER BY structures DESC, name_original, name_basis
