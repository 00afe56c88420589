"""drills"""
