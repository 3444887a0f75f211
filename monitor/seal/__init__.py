"""The condition log as evidence: what was written, in which order, unchanged.

Chains the entries; verification needs nothing but the record itself.
"""
