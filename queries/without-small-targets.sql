-- question: Does the picture change when the smallest targets are dropped?
-- tables:   metrics, structures
-- units:    of the metric
-- caution:  Dropping is a decision to state beforehand, not after a look at the result.
-- set metric: metric = PaddickConformity  metric in TG-263 syntax
-- set below:  number = 0.1                volume in cc
WITH targets AS (
  SELECT m.value, s.volume_cc
  FROM metrics m
  JOIN structures s ON m.structure_id = s.structure_id
  WHERE m.role = 'gtv' AND m.metric = $metric AND m.status = 'ok'
),
groups AS (
  SELECT 'all targets' AS kept, value FROM targets
  UNION ALL
  SELECT 'without the smallest' AS kept, value FROM targets WHERE volume_cc >= $below
)
SELECT kept, COUNT(*) AS targets, MEDIAN(value) AS median, PERCENTILE_CONT(value, 0.25) AS q1,
       PERCENTILE_CONT(value, 0.75) AS q3
FROM groups
GROUP BY kept
ORDER BY kept
