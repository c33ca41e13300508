"""Statistics of inspection: intervals, agreement, gauge studies, detection, control charts, ROC.

Plain arrays in, frozen records out; nothing here knows photos, files or pages.
"""
