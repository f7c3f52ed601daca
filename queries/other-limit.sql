-- question: Where would another limit than the one in use change the list?
-- tables:   metrics, plans
-- units:    of the metric
-- caution:  A limit holds for its number of fractions only; plans of another number are listed and not judged.
--           A question about the list only; the limits in use stand in table limit_checks with their sources.
-- set organ:     structure = Brainstem    standard name of the organ
-- set metric:    metric    = D0.03cc[Gy]  metric in TG-263 syntax
-- set fractions: integer   = 1            number of fractions that both limits are for
-- set limit:     number    = 15           the limit in use
-- set other:     number    = 12           the other one
WITH judged AS (
  SELECT m.patient_id, m.plan_id, p.fractions_planned, m.value, m.low, m.high, m.unit, m.status,
         CASE WHEN p.fractions_planned IS NULL THEN 'fractions not stated'
              WHEN p.fractions_planned <> $fractions THEN 'other fractions'
              WHEN m.low > $limit THEN 'above' WHEN m.high <= $limit THEN 'within'
              ELSE 'undecided' END AS by_limit,
         CASE WHEN p.fractions_planned IS NULL THEN 'fractions not stated'
              WHEN p.fractions_planned <> $fractions THEN 'other fractions'
              WHEN m.low > $other THEN 'above' WHEN m.high <= $other THEN 'within'
              ELSE 'undecided' END AS by_other
  FROM metrics m
  JOIN plans p ON m.plan_id = p.plan_id
  WHERE m.structure = $organ AND m.metric = $metric AND m.value IS NOT NULL
    AND p.plan_role <> 'follow_up'
)
SELECT patient_id, plan_id, fractions_planned, value, low, high, unit, status, by_limit, by_other,
       CASE WHEN by_limit <> by_other THEN 'yes' ELSE 'no' END AS changed
FROM judged
ORDER BY changed DESC, value DESC, plan_id
