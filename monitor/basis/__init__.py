"""The nouns: values, quantities, times, the clock and the error tree.

Everything else is written in these words; nothing of ours is imported here.
"""
