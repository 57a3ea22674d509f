namespace TankWatch.Service.Demo;

/// <summary>
/// Where a demonstration keeps its store and mails. It always begins anew: simulated units count their messages from the start, and
/// beside an earlier demonstration's they would pass for repeats. A store that no demonstration made is left alone.
/// </summary>
internal sealed class DemoFolder : IDisposable
{
    private const string MarkName = "tankwatch-demo";

    private readonly FileStream mark;

    private DemoFolder(string path, bool temporary)
    {
        Path = path;
        IsTemporary = temporary;

        // Held open while it runs: a second demonstration must not clear the folder under the first.
        mark = new FileStream(System.IO.Path.Combine(path, MarkName), FileMode.OpenOrCreate, FileAccess.ReadWrite, FileShare.None);
    }

    public string Path { get; }

    /// <summary>Deleted at the end.</summary>
    public bool IsTemporary { get; }

    /// <param name="path">Null for a new temporary folder.</param>
    /// <param name="fault">Why that folder cannot be used, in one line.</param>
    public static DemoFolder? Open(string? path, out string? fault)
    {
        fault = null;
        try
        {
            if (path is null)
            {
                return new(Directory.CreateTempSubdirectory("tankwatch-demo-").FullName, temporary: true);
            }

            path = System.IO.Path.GetFullPath(path);
            var isEmpty = !Directory.Exists(path) || !Directory.EnumerateFileSystemEntries(path).Any();
            if (!isEmpty && !File.Exists(System.IO.Path.Combine(path, MarkName)))
            {
                fault = $"The folder '{path}' is not empty and was not made by demo; give it a folder of its own.";
                return null;
            }

            Directory.CreateDirectory(path);
            var folder = new DemoFolder(path, temporary: false);
            folder.Clear();
            return folder;
        }
        catch (Exception e) when (Commands.InputFiles.IsFileTrouble(e))
        {
            fault = $"The folder '{path}' cannot be used: it is in use, or access is denied.";
            return null;
        }
    }

    public void Dispose()
    {
        mark.Dispose();
        if (!IsTemporary)
        {
            return;
        }

        try
        {
            Directory.Delete(Path, recursive: true);
        }
        catch (Exception e) when (e is IOException or UnauthorizedAccessException)
        {
            // It is in the system's temporary folder, which the system clears.
        }
    }

    private void Clear()
    {
        foreach (var entry in new DirectoryInfo(Path).EnumerateFileSystemInfos().Where(entry => entry.Name != MarkName))
        {
            if (entry is DirectoryInfo folder)
            {
                folder.Delete(recursive: true);
            }
            else
            {
                entry.Delete();
            }
        }
    }
}
