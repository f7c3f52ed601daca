-- question: Why are values of a metric missing, by technology?
-- tables:   metrics, plans
-- units:    counts, %
-- caution:  Only ok, and with care bound, belongs in statistics; the rest is never zero.
-- set metrics: metrics = 'D0.03cc[Gy], V12Gy[cc], PaddickConformity'  metrics in TG-263 syntax
WITH rows AS (
  SELECT p.technology, m.metric, m.status
  FROM metrics m
  JOIN plans p ON m.plan_id = p.plan_id
  WHERE m.metric IN ($metrics) AND p.plan_role <> 'follow_up'
),
totals AS (SELECT technology, metric, COUNT(*) AS total FROM rows GROUP BY technology, metric),
counts AS (
  SELECT technology, metric, status, COUNT(*) AS n FROM rows GROUP BY technology, metric, status
)
SELECT c.metric, c.technology, c.status, c.n, t.total, 100.0 * c.n / t.total AS percent
FROM counts c
JOIN totals t ON c.technology = t.technology AND c.metric = t.metric
ORDER BY c.metric, c.technology, c.n DESC, c.status
