"""Was it right?"""
