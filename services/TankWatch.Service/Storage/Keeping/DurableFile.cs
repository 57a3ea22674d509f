using System.Runtime.InteropServices;
using System.Text;

namespace TankWatch.Service.Storage.Keeping;

/// <summary>Files that must be whole, private, and on disk.</summary>
internal static class DurableFile
{
    /// <summary>Makes an empty file that only this user can read, where the system knows such a thing.</summary>
    /// <exception cref="IOException">It is there already, or cannot be made.</exception>
    public static void CreatePrivate(string path)
    {
        var options = new FileStreamOptions { Mode = FileMode.CreateNew, Access = FileAccess.Write };
        if (!OperatingSystem.IsWindows())
        {
            options.UnixCreateMode = UnixFileMode.UserRead | UnixFileMode.UserWrite;
        }

        new FileStream(path, options).Dispose();
    }

    /// <summary>Takes a database that was being written away, with what SQLite may have left beside it; does nothing when it is gone.</summary>
    public static void DeleteDatabase(string path)
    {
        File.Delete(path);
        File.Delete(path + "-journal");
    }

    /// <summary>Returns when the file's content is on disk.</summary>
    public static void Flush(string path)
    {
        using var stream = new FileStream(path, FileMode.Open, FileAccess.ReadWrite, FileShare.ReadWrite);
        stream.Flush(flushToDisk: true);
    }

    /// <summary>Puts a file in the place of another of the same folder in one step, and returns when that is on disk.</summary>
    public static void Replace(string from, string to)
    {
        File.Move(from, to, overwrite: true);
        if (!OperatingSystem.IsWindows())
        {
            FlushFolder(Path.GetDirectoryName(to)!);
        }
    }

    /// <summary>The framework opens no folders, and a name is on disk when its folder is.</summary>
    private static void FlushFolder(string folder)
    {
        const int readOnly = 0;
        var descriptor = Open(Encoding.UTF8.GetBytes(folder + '\0'), readOnly);
        if (descriptor >= 0)
        {
            _ = Fsync(descriptor); // Some file systems know no such thing, and the file is in its place all the same.
            _ = Close(descriptor);
        }
    }

    [DllImport("libc", EntryPoint = "open")]
    private static extern int Open(byte[] path, int flags);

    [DllImport("libc", EntryPoint = "fsync")]
    private static extern int Fsync(int descriptor);

    [DllImport("libc", EntryPoint = "close")]
    private static extern int Close(int descriptor);
}
