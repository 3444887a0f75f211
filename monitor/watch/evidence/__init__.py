"""The record as evidence: sealing, bundles, disclosure, checking, thinning, forgetting."""
