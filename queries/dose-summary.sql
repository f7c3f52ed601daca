-- question: What are median and quartiles of a dose or volume, by technology and fractionation?
-- tables:   metrics, plans
-- units:    of the metric
-- caution:  Single and multi-fraction doses are kept apart and must not be pooled.
-- set structure: structure = Brainstem    standard name
-- set metric:    metric    = D0.03cc[Gy]  metric in TG-263 syntax
SELECT p.technology, p.fractions_planned, COUNT(*) AS rows, COUNT(o.value) AS with_value,
       MEDIAN(o.value) AS median, PERCENTILE_CONT(o.value, 0.25) AS q1,
       PERCENTILE_CONT(o.value, 0.75) AS q3, MIN(o.value) AS least, MAX(o.value) AS most
FROM (
  SELECT plan_id, CASE WHEN status = 'ok' THEN value END AS value
  FROM metrics
  WHERE structure = $structure AND metric = $metric
) o
JOIN plans p ON o.plan_id = p.plan_id
WHERE p.in_study
GROUP BY p.technology, p.fractions_planned
ORDER BY p.technology, p.fractions_planned NULLS LAST
