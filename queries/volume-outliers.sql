-- question: Which organs have a volume far from the median of their kind?
-- tables:   structures
-- units:    cc; ratio to the median
-- caution:  With few structures of a kind the median itself is uncertain; organs cut by the scan are found too.
-- set factor: number  = 2  largest ratio to the median, either way, that is not listed
-- set least:  integer = 3  structures of a kind from which on it is judged
WITH usual AS (
  SELECT name_standard, COUNT(*) AS n, MEDIAN(volume_cc) AS median_cc
  FROM structures
  WHERE role = 'organ' AND volume_status = 'ok'
  GROUP BY name_standard
)
SELECT s.name_standard, s.patient_id, s.plan_id, s.name_original, s.volume_cc, u.median_cc,
       s.volume_cc / u.median_cc AS ratio, u.n
FROM structures s
JOIN usual u ON s.name_standard = u.name_standard
WHERE s.volume_status = 'ok' AND u.n >= $least
  AND (s.volume_cc > $factor * u.median_cc OR s.volume_cc * $factor < u.median_cc)
ORDER BY ratio DESC, s.plan_id, s.roi_number
