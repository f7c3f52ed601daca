-- question: Which organs come nearest to a limit, or go furthest beyond it?
-- tables:   limit_checks
-- units:    Gy, cc or %, as in column unit; share of the limit in %
-- caution:  Limits are as good as their sources: see tier, source and whether it was read there.
-- set organ: structure = Brainstem  standard name of the organ
-- set share: number    = 20         largest margin, as a share of the limit
SELECT patient_id, plan_id, fractions, metric, operator, limit_value, unit, value, low, high, margin,
       100 * margin / limit_value AS margin_percent, verdict, tier, limit_source, evidence, checked
FROM limit_checks
WHERE structure = $organ AND verdict <> 'not_a_limit' AND limit_value > 0 AND 100 * margin / limit_value <= $share
ORDER BY margin_percent, plan_id, metric, limit_source
