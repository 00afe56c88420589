"""desk"""
