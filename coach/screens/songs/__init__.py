"""songs"""
