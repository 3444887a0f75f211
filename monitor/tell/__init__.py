"""What people see: sentences, figures and pages made from values.

Never given a store, never deciding anything: it words what the rules found.
"""
