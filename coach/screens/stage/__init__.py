"""stage"""
