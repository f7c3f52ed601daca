-- question: Where does a case stand among comparable ones: same fractions, similar target volume?
-- tables:   metrics, plans, structures
-- units:    Gy, cc, %
-- caution:  A percentile among few cases says little; the number of peers stands beside it.
-- set organ:  structure = Brainstem    standard name of the organ
-- set metric: metric    = D0.03cc[Gy]  metric in TG-263 syntax
-- set spread: number    = 0.5          largest relative difference of total target volume
WITH volume AS (
  SELECT plan_id, SUM(volume_cc) AS targets_cc
  FROM structures
  WHERE role = 'gtv'
  GROUP BY plan_id
  HAVING SUM(CASE WHEN volume_status = 'ok' THEN 0 ELSE 1 END) = 0
),
doses AS (
  SELECT m.plan_id, m.patient_id, p.fractions_planned, v.targets_cc, m.value
  FROM metrics m
  JOIN plans p ON m.plan_id = p.plan_id
  JOIN volume v ON m.plan_id = v.plan_id
  WHERE m.structure = $organ AND m.metric = $metric AND m.status = 'ok' AND p.in_study
),
pairs AS (
  SELECT a.patient_id, a.plan_id, a.fractions_planned, a.targets_cc, a.value,
         b.plan_id AS peer, b.value AS peer_value, b.fractions_planned AS peer_fractions,
         b.targets_cc AS peer_cc
  FROM doses a
  CROSS JOIN doses b
)
SELECT patient_id, plan_id, fractions_planned, targets_cc, value AS value_gy, COUNT(*) AS peers,
       100.0 * SUM(CASE WHEN peer_value < value THEN 1 ELSE 0 END) / COUNT(*) AS percent_below
FROM pairs
WHERE peer <> plan_id AND peer_fractions = fractions_planned
  AND ABS(peer_cc / targets_cc - 1) <= $spread
GROUP BY patient_id, plan_id, fractions_planned, targets_cc, value
ORDER BY value_gy DESC, plan_id
