"""musicxml"""
