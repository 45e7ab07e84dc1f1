"""Worlds of many shapes for the studies: causes run forward to failures, failures to records.

Written apart from the estimators and from the demo's simulator; the record contracts are all
they share.  Nothing here is a finding about real engines, and no estimator reads it.
"""
