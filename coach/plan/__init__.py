"""plan"""
