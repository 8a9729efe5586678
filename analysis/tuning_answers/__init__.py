"""The join for the tuning: queries -> data of the models -> fitted models -> proposals and plans.

What is said of data as they are is in `analysis.findings`; nothing of it is needed here.
"""
